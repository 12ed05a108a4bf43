-- A quote's lines never change and stand beside its thin row. Amounts are decimal
-- text, so that they come back digit for digit. Dates of promises are local dates
-- of the shop, as ISO 8601 text, which sorts as they do.

-- +goose Up
create table quotes (
    id                  text    not null primary key,
    dealer_id           text    references dealers (id),
    state               text    not null check (state in ('open', 'ordered', 'withdrawn')),
    version             integer not null check (version >= 1),
    reference           text    not null,
    revises             text    references orders (id),
    order_id            text    references orders (id),
    engine_revision     text    not null,
    catalog_revision    text    not null,
    price_book_revision text    not null,
    promise             text    not null check (promise glob '[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]'),
    valid_until         integer not null,
    total               text    not null,
    currency            text    not null check (length(currency) = 3),
    created_at          integer not null,
    updated_at          integer not null,
    created_by          text,
    created_as          text    not null,
    check ((state = 'ordered') = (order_id is not null))
) strict, without rowid;

create index quotes_listed on quotes (created_at, id);
create index quotes_of_dealer on quotes (dealer_id, created_at, id);
create index quotes_by_reference on quotes (reference, created_at, id) where reference <> '';
create index quotes_revising on quotes (revises) where revises is not null;

create table quote_documents (
    quote_id       text    not null primary key references quotes (id),
    schema_version integer not null check (schema_version >= 1),
    lines          text    not null
) strict;

-- +goose StatementBegin
create trigger quote_documents_never_change before update on quote_documents
begin
    select raise(abort, 'the lines of a quote never change');
end;
-- +goose StatementEnd

create table orders (
    id                 text    not null primary key,
    dealer_id          text    references dealers (id),
    quote_id           text    not null unique references quotes (id),
    state              text    not null check (state in ('received', 'scheduled', 'in_work', 'on_hold', 'ready', 'shipped', 'cancelled')),
    version            integer not null check (version >= 1),
    purchase_reference text    not null,
    replaces           text    references orders (id),
    promise            text    not null check (promise glob '[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]'),
    total              text    not null,
    currency           text    not null check (length(currency) = 3),
    held_from          text    not null,
    held_by            text    not null,
    reason             text    not null,
    carrier            text    not null,
    tracking           text    not null,
    created_at         integer not null,
    updated_at         integer not null,
    check (replaces <> id),
    check ((state = 'on_hold') = (held_from <> '') and (held_from <> '') = (held_by <> ''))
) strict, without rowid;

create index orders_listed on orders (created_at, id);
create index orders_of_dealer on orders (dealer_id, created_at, id);
create index orders_by_state on orders (state, created_at, id);
create index orders_by_promise on orders (promise);
create index orders_by_reference on orders (purchase_reference, created_at, id) where purchase_reference <> '';
create index orders_replacing on orders (replaces) where replaces is not null;

create table operation_records (
    order_id    text    not null references orders (id),
    operation   text    not null check (operation <> ''),
    started_at  integer not null,
    finished_at integer check (finished_at >= started_at),
    hours       real    check (hours >= 0),
    updated_at  integer not null,
    updated_by  text,
    updated_as  text    not null,
    primary key (order_id, operation)
) strict, without rowid;

-- +goose Down
pragma defer_foreign_keys = on;
drop table operation_records;
update quotes set state = 'withdrawn', order_id = null, revises = null;
drop table orders;
drop table quote_documents;
drop table quotes;
