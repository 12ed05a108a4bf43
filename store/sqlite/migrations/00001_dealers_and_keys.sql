-- Times are Unix milliseconds in UTC, ids the text form of a UUID.

-- +goose Up
create table dealers (
    id         text    not null primary key,
    name       text    not null check (name <> ''),
    email      text    not null,
    created_at integer not null
) strict, without rowid;

create unique index dealers_name on dealers (name collate nocase);
create index dealers_listed on dealers (created_at, id);

create table api_keys (
    id           text    not null primary key,
    dealer_id    text    references dealers (id),
    role         text    not null check (role in ('storefront', 'dealer', 'shop')),
    name         text    not null,
    hash         blob    not null unique check (length(hash) = 32),
    prefix       text    not null,
    created_at   integer not null,
    expires_at   integer,
    revoked_at   integer,
    last_used_at integer,
    check (role <> 'shop' or dealer_id is null),
    check (role <> 'dealer' or dealer_id is not null)
) strict, without rowid;

create index api_keys_listed on api_keys (created_at, id);
create index api_keys_of_dealer on api_keys (dealer_id, created_at, id);

-- +goose Down
drop table api_keys;
drop table dealers;
