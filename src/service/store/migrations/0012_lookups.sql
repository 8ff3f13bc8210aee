-- In a row of the outbox the state stands behind the whole mail. What is asked about a night's mails, at every round, is
-- answered from the index alone, so that no mail is read for it.
DROP INDEX outbox_by_night;
CREATE INDEX outbox_by_night ON outbox (garden, night, recipient, kind, revision, state);
