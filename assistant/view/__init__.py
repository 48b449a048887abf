"""A page for the second person: the session as it goes, in a browser, read only.

`page_state` folds the record into what the page shows, `plan_picture` draws the plan once,
`publisher` hands both to the viewers, `site` answers their requests, `server` listens, `admission`
and `certificate` decide who may look from another machine.
"""
