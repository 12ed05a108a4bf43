-- The shop's own data. Everybody's derivations read it; only the shop writes.

-- +goose Up
create table shop_documents (
    kind       text           not null check (kind <> ''),
    version    bigint         not null check (version >= 1),
    body       text           not null,
    created_at timestamptz(3) not null,
    author     text           not null,
    primary key (kind, version)
);

-- +goose StatementBegin
do $$ begin
    alter table shop_documents alter body set compression lz4;
exception when feature_not_supported then
    raise notice 'this server has no lz4; documents keep the default compression';
end $$;
-- +goose StatementEnd

create trigger never_changes before update on shop_documents
    for each row execute function hatchwright_never_changes();

alter table shop_documents enable row level security;
alter table shop_documents force row level security;
create policy read on shop_documents for select using (true);
create policy write on shop_documents using ((select hatchwright_scope()) = 'shop');

-- +goose Down
drop table shop_documents;
