-- The revision of the list that a mail quotes to somebody else: behind a newer list to the same person it is not sent.
ALTER TABLE outbox ADD COLUMN quotes INTEGER;
