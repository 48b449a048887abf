"""A page for the second person: the session as it goes, in a browser, read only.

`page_state` folds the record into what the page shows (`conditions`: devices, disk and clock),
`plan_picture` draws the plan once, `page_json` is the rest that the page fetches. `publisher` hands
it all to the viewers, `site` answers their requests behind `guard`, `server` listens. `admission`
and `certificate` decide who may look from another machine. The page itself stands in `page/`.
"""
