-- +goose Up
-- Work bought of partners. What happened to it is in the trail; state and due are copies for searching.
CREATE TABLE purchases (
    id TEXT PRIMARY KEY,
    no BIGINT NOT NULL,
    version INTEGER NOT NULL,
    body TEXT NOT NULL,
    partner TEXT NOT NULL,
    state TEXT NOT NULL,
    need_by TEXT NOT NULL
);
CREATE INDEX purchases_state ON purchases (state, need_by);

-- +goose Down
DROP TABLE purchases;
