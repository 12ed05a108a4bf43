-- owner is the text of the scope that the key was used under: 'shop', 'house' or
-- a dealer's id.

-- +goose Up
create table idempotency_keys (
    owner        text           not null,
    key          text           not null check (key <> ''),
    method       text           not null,
    route        text           not null,
    body_hash    bytea          not null,
    token        uuid           not null,
    state        text           not null check (state in ('running', 'done')),
    status       integer,
    header       text,
    body         bytea,
    created_at   timestamptz(3) not null,
    locked_until timestamptz(3) not null,
    expires_at   timestamptz(3) not null,
    primary key (owner, key),
    check (state = 'running' or (status is not null and header is not null and body is not null))
);

create index idempotency_keys_expiring on idempotency_keys (expires_at);

alter table idempotency_keys enable row level security;
alter table idempotency_keys force row level security;
create policy scope on idempotency_keys
    using ((select hatchwright_scope()) = 'shop' or owner = (select hatchwright_scope()));

-- +goose Down
drop table idempotency_keys;
