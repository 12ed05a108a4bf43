-- Amounts are millionths of the lot's unit. The book of moves decides; what lots
-- and reservations hold is kept beside it, so that nothing falls below zero. Dates
-- are local dates of the shop, ISO 8601 text; '' for a lot that does not age.

-- +goose Up
create table stock_lots (
    id          text    not null primary key,
    material    text    not null check (material <> ''),
    unit        text    not null check (unit <> ''),
    batch       text    not null,
    on_hand     integer not null,
    reserved    integer not null check (reserved >= 0 and reserved <= on_hand),
    received_on text    not null,
    expires_on  text    not null,
    created_at  integer not null,
    updated_at  integer not null
) strict, without rowid;

create index stock_lots_listed on stock_lots (created_at, id);
create index stock_lots_of_material on stock_lots (material, created_at, id);
create index stock_lots_held on stock_lots (material, expires_on) where on_hand > 0;

create table stock_moves (
    id         text    not null primary key,
    lot_id     text    not null references stock_lots (id),
    material   text    not null,
    kind       text    not null check (kind <> ''),
    amount     integer not null,
    order_id   text    references orders (id),
    note       text    not null,
    on_hand    integer not null,
    reserved   integer not null check (reserved = 0 or order_id is not null),
    created_at integer not null,
    moved_by   text,
    moved_as   text    not null
) strict, without rowid;

create index stock_moves_listed on stock_moves (created_at, id);
create index stock_moves_of_lot on stock_moves (lot_id, created_at, id);
create index stock_moves_of_order on stock_moves (order_id, created_at, id) where order_id is not null;
create index stock_moves_of_material on stock_moves (material, created_at, id);

-- +goose StatementBegin
create trigger stock_moves_never_change before update on stock_moves
begin
    select raise(abort, 'a move never changes');
end;
-- +goose StatementEnd

-- +goose StatementBegin
create trigger stock_moves_never_go before delete on stock_moves
begin
    select raise(abort, 'a move is never removed');
end;
-- +goose StatementEnd

create table stock_reservations (
    order_id text    not null references orders (id),
    lot_id   text    not null references stock_lots (id),
    amount   integer not null check (amount >= 0),
    issued   integer not null check (issued >= 0),
    primary key (order_id, lot_id)
) strict, without rowid;

create index stock_reservations_of_lot on stock_reservations (lot_id);

-- +goose Down
drop table stock_reservations;
drop trigger stock_moves_never_go;
drop table stock_moves;
drop table stock_lots;
