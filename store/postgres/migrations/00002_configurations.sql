-- A thin row for what is searched and listed, and the documents beside it.
-- Both never change. The documents are text and not jsonb: they are only ever
-- read whole and have to come back byte for byte.

-- +goose Up
create table configurations (
    id                  uuid           not null primary key,
    dealer_id           uuid           references dealers (id),
    digest              text           not null,
    units               text           not null,
    pattern             text           not null,
    verdict             text           not null,
    name                text           not null,
    reference           text           not null,
    supersedes          uuid           references configurations (id) check (supersedes <> id),
    created_at          timestamptz(3) not null,
    engine_revision     text           not null,
    catalog_revision    text           not null,
    price_book_revision text           not null
);

create index configurations_listed on configurations (created_at, id);
create index configurations_of_dealer on configurations (dealer_id, created_at, id);
create index configurations_by_digest on configurations (digest, created_at, id);
create index configurations_superseded on configurations (supersedes) where supersedes is not null;

create table configuration_documents (
    configuration_id uuid    not null primary key references configurations (id),
    dealer_id        uuid    references dealers (id),
    schema_version   integer not null check (schema_version >= 1),
    requested        text    not null,
    completed        text    not null,
    derivation       text
);

-- A server built without lz4 keeps its default compression.
-- +goose StatementBegin
do $$ begin
    alter table configuration_documents
        alter requested set compression lz4,
        alter completed set compression lz4,
        alter derivation set compression lz4;
exception when feature_not_supported then
    raise notice 'this server has no lz4; documents keep the default compression';
end $$;
-- +goose StatementEnd

-- +goose StatementBegin
create function hatchwright_never_changes() returns trigger language plpgsql as $$ begin
    raise exception 'a record of % never changes', tg_table_name using errcode = 'object_not_in_prerequisite_state';
end $$;
-- +goose StatementEnd

create trigger never_changes before update on configurations
    for each row execute function hatchwright_never_changes();
create trigger never_changes before update on configuration_documents
    for each row execute function hatchwright_never_changes();

alter table configurations enable row level security;
alter table configurations force row level security;
create policy scope on configurations
    using ((select hatchwright_scope()) = 'shop'
           or dealer_id = (select hatchwright_dealer())
           or (dealer_id is null and (select hatchwright_scope()) = 'house'));

alter table configuration_documents enable row level security;
alter table configuration_documents force row level security;
create policy scope on configuration_documents
    using ((select hatchwright_scope()) = 'shop'
           or dealer_id = (select hatchwright_dealer())
           or (dealer_id is null and (select hatchwright_scope()) = 'house'));

-- +goose Down
drop table configuration_documents;
drop table configurations;
drop function hatchwright_never_changes();
