-- A derivation is kept in parts, each once for each owner, deflated. Those from before
-- stay where they are, in configuration_documents, which never change.

-- +goose Up
create table derivation_parts (
    owner     text  not null,
    hash      text  not null check (length(hash) = 64),
    dealer_id uuid  references dealers (id),
    body      bytea not null,
    used      bigint not null default 0, -- moved to hold a part that is there already
    primary key (owner, hash)
);

alter table derivation_parts alter body set storage external;

create table configuration_parts (
    configuration_id uuid    not null references configurations (id),
    place            integer not null check (place >= 0),
    owner            text    not null,
    hash             text    not null,
    dealer_id        uuid    references dealers (id),
    primary key (configuration_id, place),
    foreign key (owner, hash) references derivation_parts (owner, hash)
);

create index configuration_parts_of on configuration_parts (owner, hash);

create trigger never_changes before update of owner, hash, dealer_id, body on derivation_parts
    for each row execute function hatchwright_never_changes();
create trigger never_changes before update on configuration_parts
    for each row execute function hatchwright_never_changes();

-- +goose StatementBegin
do $$ declare t text; begin
    foreach t in array array['derivation_parts', 'configuration_parts'] loop
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
drop table configuration_parts;
drop table derivation_parts;
