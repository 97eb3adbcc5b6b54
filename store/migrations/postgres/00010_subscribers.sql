-- +goose Up
-- Programs that are told what happens. How far each has been told is in the body.
CREATE TABLE subscribers (
    id TEXT PRIMARY KEY,
    no BIGINT NOT NULL,
    version INTEGER NOT NULL,
    body TEXT NOT NULL
);

-- +goose Down
DROP TABLE subscribers;
