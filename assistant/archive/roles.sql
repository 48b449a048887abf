-- Roles of a site's archive. Run by the owner of the database, after `archive migrate`:
--
--     sampling-assistant archive roles | psql -d DATABASE
--
-- Then one user per booth, and one per reader; psql asks for the password and hides it:
--
--     CREATE USER booth_1 IN ROLE sampling_writer;   \password booth_1
--     CREATE USER quality IN ROLE sampling_reader;   \password quality
--
-- A writer may add records and read what is there, which it needs to see that a record is known. It
-- may change or delete nothing. A reader may only read. A checker may also keep what
-- `archive check` and `archive re-hear` find.

DO $$
DECLARE
    name text;
BEGIN
    FOREACH name IN ARRAY ARRAY['sampling_reader', 'sampling_writer', 'sampling_checker'] LOOP
        IF NOT EXISTS (SELECT FROM pg_roles WHERE rolname = name) THEN
            EXECUTE format('CREATE ROLE %I NOLOGIN', name);
        END IF;
    END LOOP;
END
$$;

REVOKE ALL ON ALL TABLES IN SCHEMA public FROM PUBLIC;
REVOKE CREATE ON SCHEMA public FROM PUBLIC;
GRANT USAGE ON SCHEMA public TO sampling_reader, sampling_writer, sampling_checker;
GRANT SELECT ON ALL TABLES IN SCHEMA public
    TO sampling_reader, sampling_writer, sampling_checker;

GRANT INSERT ON
    sessions, insertions, samples, deviations, signatures, anchors, assays, verdicts, places
    TO sampling_writer;

GRANT INSERT ON runs, checks TO sampling_checker;
GRANT UPDATE (ended_utc) ON runs TO sampling_checker;
GRANT USAGE ON SEQUENCE runs_run_seq TO sampling_checker;
