-- An Idempotency-Key is a caller's own, for one method and route. caller says whose:
-- '' in what was answered before callers were told apart, which holds for the very
-- same request of anybody with the owner. sealed is the whole answer, sealed for its
-- caller, where body leaves a secret out. Answers that were kept with their secret in
-- the clear lose it; claims in flight are freed, so that who holds one cannot finish.

-- +goose Up
select set_config('hatchwright.scope', 'shop', true);

delete from idempotency_keys where state = 'running';

update idempotency_keys
set status = 200, body = convert_to(regexp_replace(convert_from(body, 'UTF8'), '"(key|secret)":"[^"]*"', '"withheld":"not_kept"'), 'UTF8')
where status = 201 and route in ('/v1/keys', '/v1/dealers/{id}/keys', '/v1/keys/{id}/rotation', '/v1/webhooks', '/v1/webhooks/{id}/secret');

alter table idempotency_keys add column caller text not null default '';
alter table idempotency_keys alter column caller drop default;
alter table idempotency_keys add column sealed text;
alter table idempotency_keys drop constraint idempotency_keys_pkey;
alter table idempotency_keys add primary key (owner, caller, method, route, key);

-- +goose Down
select set_config('hatchwright.scope', 'shop', true);

delete from idempotency_keys i using idempotency_keys o
where o.owner = i.owner and o.key = i.key and (o.created_at, o.caller, o.method, o.route) < (i.created_at, i.caller, i.method, i.route);

alter table idempotency_keys drop constraint idempotency_keys_pkey;
alter table idempotency_keys add primary key (owner, key);
alter table idempotency_keys drop column sealed;
alter table idempotency_keys drop column caller;
