-- A derivation is kept in parts, each once for each owner, deflated. Those from before
-- stay where they are, in configuration_documents, which never change.

-- +goose Up
create table derivation_parts (
    owner text not null,
    hash  text not null check (length(hash) = 64),
    body  blob not null,
    primary key (owner, hash)
) strict;

create table configuration_parts (
    configuration_id text    not null references configurations (id),
    place            integer not null check (place >= 0),
    owner            text    not null,
    hash             text    not null,
    primary key (configuration_id, place),
    foreign key (owner, hash) references derivation_parts (owner, hash)
) strict, without rowid;

create index configuration_parts_of on configuration_parts (owner, hash);

-- +goose StatementBegin
create trigger derivation_parts_never_change before update on derivation_parts
begin
    select raise(abort, 'a part of a derivation never changes');
end;
-- +goose StatementEnd

-- +goose StatementBegin
create trigger configuration_parts_never_change before update on configuration_parts
begin
    select raise(abort, 'a configuration never changes');
end;
-- +goose StatementEnd

-- +goose Down
drop table configuration_parts;
drop table derivation_parts;
