-- Amounts are millionths of the lot's unit. The book of moves decides; what lots
-- and reservations hold is kept beside it, so that nothing falls below zero. Dates
-- are local dates of the shop, ISO 8601 text; '' for a lot that does not age.

-- +goose Up
create table stock_lots (
    id          uuid             not null primary key,
    material    text collate "C" not null check (material <> ''),
    unit        text             not null check (unit <> ''),
    batch       text             not null,
    on_hand     bigint           not null,
    reserved    bigint           not null check (reserved >= 0 and reserved <= on_hand),
    received_on text collate "C" not null,
    expires_on  text collate "C" not null,
    created_at  timestamptz(3)   not null,
    updated_at  timestamptz(3)   not null
);

create index stock_lots_listed on stock_lots (created_at, id);
create index stock_lots_of_material on stock_lots (material, created_at, id);
create index stock_lots_held on stock_lots (material, expires_on) where on_hand > 0;

create table stock_moves (
    id         uuid             not null primary key,
    lot_id     uuid             not null references stock_lots (id),
    material   text collate "C" not null,
    kind       text             not null check (kind <> ''),
    amount     bigint           not null,
    order_id   uuid             references orders (id),
    note       text             not null,
    on_hand    bigint           not null,
    reserved   bigint           not null check (reserved = 0 or order_id is not null),
    created_at timestamptz(3)   not null,
    moved_by   uuid,
    moved_as   text             not null
);

create index stock_moves_listed on stock_moves (created_at, id);
create index stock_moves_of_lot on stock_moves (lot_id, created_at, id);
create index stock_moves_of_order on stock_moves (order_id, created_at, id) where order_id is not null;
create index stock_moves_of_material on stock_moves (material, created_at, id);

create trigger never_changes before update or delete on stock_moves
    for each row execute function hatchwright_never_changes();

create table stock_reservations (
    order_id uuid   not null references orders (id),
    lot_id   uuid   not null references stock_lots (id),
    amount   bigint not null check (amount >= 0),
    issued   bigint not null check (issued >= 0),
    primary key (order_id, lot_id)
);

create index stock_reservations_of_lot on stock_reservations (lot_id);

-- +goose StatementBegin
do $$ declare t text; begin
    foreach t in array array['stock_lots', 'stock_moves', 'stock_reservations'] loop
        execute format('alter table %I enable row level security', t);
        execute format('alter table %I force row level security', t);
        execute format('create policy scope on %I using ((select hatchwright_scope()) = ''shop'')', t);
    end loop;
end $$;
-- +goose StatementEnd

-- +goose Down
drop table stock_reservations;
drop table stock_moves;
drop table stock_lots;
