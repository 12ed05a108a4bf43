-- An Idempotency-Key is a caller's own, for one method and route. caller says whose:
-- '' in what was answered before callers were told apart, which holds for the very
-- same request of anybody with the owner. sealed is the whole answer, sealed for its
-- caller, where body leaves a secret out. Answers that were kept with their secret in
-- the clear lose it; claims in flight are freed, so that who holds one cannot finish.

-- +goose Up
create table idempotency_keys_of_callers (
    owner        text    not null,
    caller       text    not null,
    method       text    not null,
    route        text    not null,
    key          text    not null check (key <> ''),
    body_hash    blob    not null,
    token        text    not null,
    state        text    not null check (state in ('running', 'done')),
    status       integer,
    header       text,
    body         blob,
    sealed       text,
    created_at   integer not null,
    locked_until integer not null,
    expires_at   integer not null,
    primary key (owner, caller, method, route, key),
    check (state = 'running' or (status is not null and header is not null and body is not null))
) strict;

insert into idempotency_keys_of_callers
select owner, '', method, route, key, body_hash, token, state, status, header, body, null, created_at, locked_until, expires_at
from idempotency_keys where state = 'done';

update idempotency_keys_of_callers
set status = 200, body = cast(json_remove(json_set(cast(body as text), '$.withheld', 'not_kept'), '$.key', '$.secret') as blob)
where status = 201 and route in ('/v1/keys', '/v1/dealers/{id}/keys', '/v1/keys/{id}/rotation', '/v1/webhooks', '/v1/webhooks/{id}/secret');

drop table idempotency_keys;
alter table idempotency_keys_of_callers rename to idempotency_keys;
create index idempotency_keys_expiring on idempotency_keys (expires_at);

-- +goose Down
create table idempotency_keys_of_owners (
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

insert or ignore into idempotency_keys_of_owners
select owner, key, method, route, body_hash, token, state, status, header, body, created_at, locked_until, expires_at
from idempotency_keys order by created_at;

drop table idempotency_keys;
alter table idempotency_keys_of_owners rename to idempotency_keys;
create index idempotency_keys_expiring on idempotency_keys (expires_at);
