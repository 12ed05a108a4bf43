-- A quote's lines never change and stand beside its thin row, as text: they are
-- only ever read whole. Amounts are decimal text, so that they come back digit for
-- digit. Dates of promises are local dates of the shop, as ISO 8601 text, which
-- sorts as they do.

-- +goose Up
create table quotes (
    id                  uuid           not null primary key,
    dealer_id           uuid           references dealers (id),
    state               text           not null check (state in ('open', 'ordered', 'withdrawn')),
    version             integer        not null check (version >= 1),
    reference           text           not null,
    revises             uuid,
    order_id            uuid,
    engine_revision     text           not null,
    catalog_revision    text           not null,
    price_book_revision text           not null,
    promise             text collate "C" not null check (promise ~ '^[0-9]{4}-[0-9]{2}-[0-9]{2}$'),
    valid_until         timestamptz(3) not null,
    total               text           not null,
    currency            text           not null check (length(currency) = 3),
    created_at          timestamptz(3) not null,
    updated_at          timestamptz(3) not null,
    created_by          uuid,
    created_as          text           not null,
    check ((state = 'ordered') = (order_id is not null))
);

create index quotes_listed on quotes (created_at, id);
create index quotes_of_dealer on quotes (dealer_id, created_at, id);
create index quotes_by_reference on quotes (reference, created_at, id) where reference <> '';
create index quotes_revising on quotes (revises) where revises is not null;

create table quote_documents (
    quote_id       uuid    not null primary key references quotes (id),
    dealer_id      uuid    references dealers (id),
    schema_version integer not null check (schema_version >= 1),
    lines          text    not null
);

create trigger never_changes before update on quote_documents
    for each row execute function hatchwright_never_changes();

create table orders (
    id                 uuid           not null primary key,
    dealer_id          uuid           references dealers (id),
    quote_id           uuid           not null unique references quotes (id),
    state              text           not null check (state in ('received', 'scheduled', 'in_work', 'on_hold', 'ready', 'shipped', 'cancelled')),
    version            integer        not null check (version >= 1),
    purchase_reference text           not null,
    replaces           uuid           references orders (id) check (replaces <> id),
    promise            text collate "C" not null check (promise ~ '^[0-9]{4}-[0-9]{2}-[0-9]{2}$'),
    total              text           not null,
    currency           text           not null check (length(currency) = 3),
    held_from          text           not null,
    held_by            text           not null,
    reason             text           not null,
    carrier            text           not null,
    tracking           text           not null,
    created_at         timestamptz(3) not null,
    updated_at         timestamptz(3) not null,
    check ((state = 'on_hold') = (held_from <> '') and (held_from <> '') = (held_by <> ''))
);

create index orders_listed on orders (created_at, id);
create index orders_of_dealer on orders (dealer_id, created_at, id);
create index orders_by_state on orders (state, created_at, id);
create index orders_by_promise on orders (promise);
create index orders_by_reference on orders (purchase_reference, created_at, id) where purchase_reference <> '';
create index orders_replacing on orders (replaces) where replaces is not null;

alter table quotes add constraint quotes_order foreign key (order_id) references orders (id),
                   add constraint quotes_revises foreign key (revises) references orders (id);

create table operation_records (
    order_id    uuid             not null references orders (id),
    dealer_id   uuid             references dealers (id),
    operation   text collate "C" not null check (operation <> ''),
    started_at  timestamptz(3)   not null,
    finished_at timestamptz(3)   check (finished_at >= started_at),
    hours       double precision check (hours >= 0),
    updated_at  timestamptz(3)   not null,
    updated_by  uuid,
    updated_as  text             not null,
    primary key (order_id, operation)
);

-- +goose StatementBegin
do $$ declare t text; begin
    foreach t in array array['quotes', 'quote_documents', 'orders', 'operation_records'] loop
        execute format('alter table %I enable row level security', t);
        execute format('alter table %I force row level security', t);
        execute format('create policy scope on %I
            using ((select hatchwright_scope()) = ''shop''
                   or dealer_id = (select hatchwright_dealer())
                   or (dealer_id is null and (select hatchwright_scope()) = ''house''))', t);
    end loop;
end $$;
-- +goose StatementEnd

-- +goose Down
drop table operation_records;
alter table quotes drop constraint quotes_order, drop constraint quotes_revises;
drop table orders;
drop table quote_documents;
drop table quotes;
