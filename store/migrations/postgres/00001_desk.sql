-- +goose Up
CREATE TABLE series (
    name TEXT PRIMARY KEY,
    last BIGINT NOT NULL
);

CREATE TABLE clients (
    id TEXT PRIMARY KEY,
    no BIGINT NOT NULL,
    version INTEGER NOT NULL,
    body TEXT NOT NULL,
    name TEXT NOT NULL,
    search TEXT NOT NULL
);

CREATE TABLE requests (
    id TEXT PRIMARY KEY,
    no BIGINT NOT NULL,
    version INTEGER NOT NULL,
    body TEXT NOT NULL,
    client_id TEXT NOT NULL REFERENCES clients (id),
    state TEXT NOT NULL,
    received TEXT NOT NULL,
    search TEXT NOT NULL
);
CREATE INDEX requests_received ON requests (received);
CREATE INDEX requests_state ON requests (state, received);

CREATE TABLE files (
    id TEXT PRIMARY KEY,
    no BIGINT NOT NULL,
    version INTEGER NOT NULL,
    body TEXT NOT NULL,
    request_id TEXT NOT NULL REFERENCES requests (id),
    state TEXT NOT NULL,
    digest TEXT NOT NULL,
    asking INTEGER NOT NULL,
    received TEXT NOT NULL
);
CREATE INDEX files_request ON files (request_id);
CREATE INDEX files_state ON files (state);

CREATE TABLE lines (
    id TEXT PRIMARY KEY,
    no BIGINT NOT NULL,
    version INTEGER NOT NULL,
    body TEXT NOT NULL,
    request_id TEXT NOT NULL REFERENCES requests (id),
    file_id TEXT NOT NULL REFERENCES files (id),
    position INTEGER NOT NULL,
    answer TEXT NOT NULL
);
CREATE INDEX lines_request ON lines (request_id, position);
CREATE INDEX lines_file ON lines (file_id);
CREATE INDEX lines_answer ON lines (answer);

CREATE TABLE messages (
    id TEXT PRIMARY KEY,
    no BIGINT NOT NULL,
    version INTEGER NOT NULL,
    body TEXT NOT NULL,
    request_id TEXT NOT NULL REFERENCES requests (id),
    question INTEGER NOT NULL,
    at TEXT NOT NULL
);
CREATE INDEX messages_request ON messages (request_id);
CREATE INDEX messages_question ON messages (question, no);

-- Bodies of issued quotations, under their digest. Written once.
CREATE TABLE sealed (
    digest TEXT PRIMARY KEY,
    body TEXT NOT NULL
);

CREATE TABLE quotations (
    id TEXT PRIMARY KEY,
    no BIGINT NOT NULL,
    version INTEGER NOT NULL,
    body TEXT NOT NULL,
    number TEXT NOT NULL,
    request_id TEXT NOT NULL REFERENCES requests (id),
    state TEXT NOT NULL,
    created TEXT NOT NULL,
    frozen TEXT NOT NULL
);
CREATE INDEX quotations_number ON quotations (number);
CREATE INDEX quotations_request ON quotations (request_id);
CREATE INDEX quotations_state ON quotations (state, created);

CREATE TABLE links (
    hash TEXT PRIMARY KEY,
    number TEXT NOT NULL,
    made TEXT NOT NULL
);

CREATE TABLE orders (
    id TEXT PRIMARY KEY,
    no BIGINT NOT NULL,
    version INTEGER NOT NULL,
    body TEXT NOT NULL,
    request_id TEXT NOT NULL REFERENCES requests (id),
    quotation_id TEXT NOT NULL UNIQUE REFERENCES quotations (id),
    state TEXT NOT NULL,
    promised TEXT NOT NULL
);
CREATE INDEX orders_state ON orders (state, promised);
CREATE INDEX orders_request ON orders (request_id);

-- Computed tables of options, under the digest of the question.
CREATE TABLE answers (
    question TEXT PRIMARY KEY,
    made TEXT NOT NULL,
    body BYTEA NOT NULL
);
CREATE INDEX answers_made ON answers (made);

CREATE TABLE events (
    seq BIGINT PRIMARY KEY,
    at TEXT NOT NULL,
    who TEXT NOT NULL,
    what TEXT NOT NULL,
    about TEXT NOT NULL,
    folder TEXT NOT NULL,
    was TEXT NOT NULL,
    is_now TEXT NOT NULL,
    why TEXT NOT NULL,
    prev TEXT NOT NULL,
    hash TEXT NOT NULL
);
CREATE INDEX events_about ON events (about, seq);
CREATE INDEX events_folder ON events (folder, seq);

CREATE TABLE trail_head (
    one INTEGER PRIMARY KEY CHECK (one = 1),
    seq BIGINT NOT NULL,
    hash TEXT NOT NULL
);
INSERT INTO trail_head (one, seq, hash) VALUES (1, 0, '0000000000000000000000000000000000000000000000000000000000000000');

-- +goose StatementBegin
CREATE FUNCTION written_once() RETURNS trigger AS $$
BEGIN
    RAISE EXCEPTION '% are written once', TG_TABLE_NAME;
END;
$$ LANGUAGE plpgsql;
-- +goose StatementEnd
CREATE TRIGGER events_written_once BEFORE UPDATE OR DELETE ON events FOR EACH ROW EXECUTE FUNCTION written_once();
CREATE TRIGGER sealed_written_once BEFORE UPDATE OR DELETE ON sealed FOR EACH ROW EXECUTE FUNCTION written_once();

-- +goose Down
DROP TABLE orders;
DROP TABLE links;
DROP TABLE quotations;
DROP TABLE sealed;
DROP TABLE messages;
DROP TABLE lines;
DROP TABLE files;
DROP TABLE requests;
DROP TABLE clients;
DROP TABLE answers;
DROP TABLE events;
DROP TABLE trail_head;
DROP TABLE series;
DROP FUNCTION written_once();
