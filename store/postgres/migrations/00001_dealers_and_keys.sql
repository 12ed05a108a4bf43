-- Every transaction of the service says whose records it may touch, in the
-- setting hatchwright.scope: 'shop' (every record), 'house' (the records of no
-- dealer) or a dealer's id. Row-level security holds each statement to it, the
-- table owner's too; unset or empty, nothing is visible.

-- +goose Up
create function hatchwright_scope() returns text
    language sql stable parallel safe
    return coalesce(current_setting('hatchwright.scope', true), '');

create function hatchwright_dealer() returns uuid
    language sql stable parallel safe
    return case when current_setting('hatchwright.scope', true) ~ '^[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}$'
                then current_setting('hatchwright.scope', true)::uuid end;

create table dealers (
    id         uuid           not null primary key,
    name       text           not null check (name <> ''),
    email      text           not null,
    created_at timestamptz(3) not null
);

create unique index dealers_name on dealers (lower(name collate "C"));
create index dealers_listed on dealers (created_at, id);

alter table dealers enable row level security;
alter table dealers force row level security;
create policy scope on dealers
    using ((select hatchwright_scope()) = 'shop' or id = (select hatchwright_dealer()))
    with check ((select hatchwright_scope()) = 'shop');

create table api_keys (
    id           uuid           not null primary key,
    dealer_id    uuid           references dealers (id),
    role         text           not null check (role in ('storefront', 'dealer', 'shop')),
    name         text           not null,
    hash         bytea          not null unique check (length(hash) = 32),
    prefix       text           not null,
    created_at   timestamptz(3) not null,
    expires_at   timestamptz(3),
    revoked_at   timestamptz(3),
    last_used_at timestamptz(3),
    check (role <> 'shop' or dealer_id is null),
    check (role <> 'dealer' or dealer_id is not null)
);

create index api_keys_listed on api_keys (created_at, id);
create index api_keys_of_dealer on api_keys (dealer_id, created_at, id);

alter table api_keys enable row level security;
alter table api_keys force row level security;
create policy scope on api_keys
    using ((select hatchwright_scope()) = 'shop'
           or dealer_id = (select hatchwright_dealer())
           or (dealer_id is null and (select hatchwright_scope()) = 'house'));

-- +goose Down
drop table api_keys;
drop table dealers;
drop function hatchwright_dealer();
drop function hatchwright_scope();
