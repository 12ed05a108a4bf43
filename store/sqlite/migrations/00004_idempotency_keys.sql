-- owner is the text of the scope that the key was used under: 'shop', 'house' or
-- a dealer's id.

-- +goose Up
create table idempotency_keys (
    owner        text    not null,
    key          text    not null check (key <> ''),
    method       text    not null,
    route        text    not null,
    body_hash    blob    not null,
    token        text    not null,
    state        text    not null check (state in ('running', 'done')),
    status       integer,
    header       text,
    body         blob,
    created_at   integer not null,
    locked_until integer not null,
    expires_at   integer not null,
    primary key (owner, key),
    check (state = 'running' or (status is not null and header is not null and body is not null))
) strict;

create index idempotency_keys_expiring on idempotency_keys (expires_at);

-- +goose Down
drop table idempotency_keys;
