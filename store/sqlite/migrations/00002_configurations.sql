-- A thin row for what is searched and listed, and the documents beside it.
-- Both never change.

-- +goose Up
create table configurations (
    id                  text    not null primary key,
    dealer_id           text    references dealers (id),
    digest              text    not null,
    units               text    not null,
    pattern             text    not null,
    verdict             text    not null,
    name                text    not null,
    reference           text    not null,
    supersedes          text    references configurations (id),
    created_at          integer not null,
    engine_revision     text    not null,
    catalog_revision    text    not null,
    price_book_revision text    not null,
    check (supersedes <> id)
) strict, without rowid;

create index configurations_listed on configurations (created_at, id);
create index configurations_of_dealer on configurations (dealer_id, created_at, id);
create index configurations_by_digest on configurations (digest, created_at, id);
create index configurations_superseded on configurations (supersedes) where supersedes is not null;

create table configuration_documents (
    configuration_id text    not null primary key references configurations (id),
    schema_version   integer not null check (schema_version >= 1),
    requested        text    not null,
    completed        text    not null,
    derivation       text
) strict;

-- +goose StatementBegin
create trigger configurations_never_change before update on configurations
begin
    select raise(abort, 'a configuration never changes');
end;
-- +goose StatementEnd

-- +goose StatementBegin
create trigger configuration_documents_never_change before update on configuration_documents
begin
    select raise(abort, 'a configuration never changes');
end;
-- +goose StatementEnd

-- +goose Down
drop table configuration_documents;
drop table configurations;
