-- What a word about a night to come told, as JSON: it is told again when it gets worse.
ALTER TABLE outbox ADD COLUMN told TEXT;
