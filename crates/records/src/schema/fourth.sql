-- The fourth shape: who did something to a call, as far as that was said. It is the name as it was then: an account can
-- be removed, and what it did stays.
ALTER TABLE call_event ADD COLUMN author TEXT NOT NULL DEFAULT '';
