-- Learned figures as they stood when somebody accepted them. Rows are only added: the newest of a figure counts, and one
-- without a document takes it back.
CREATE TABLE accepted (
    id          INTEGER PRIMARY KEY,
    garden      TEXT    NOT NULL,
    figure      TEXT    NOT NULL,
    accepted_at INTEGER NOT NULL,
    document    TEXT              -- as JSON; none: taken back
) STRICT;
CREATE INDEX accepted_figure ON accepted (garden, figure, id);
