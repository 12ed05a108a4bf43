-- +goose Up
create table shop_documents (
    kind       text    not null check (kind <> ''),
    version    integer not null check (version >= 1),
    body       text    not null,
    created_at integer not null,
    author     text    not null,
    primary key (kind, version)
) strict;

-- +goose StatementBegin
create trigger shop_documents_never_change before update on shop_documents
begin
    select raise(abort, 'a version of a shop document never changes');
end;
-- +goose StatementEnd

-- +goose Down
drop table shop_documents;
