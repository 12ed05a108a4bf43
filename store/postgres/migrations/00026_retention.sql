-- What is kept for a time only. kept_from says up to which event, and from which
-- instant on, things are kept; a row beyond it cannot be removed. Events of orders
-- are their history: they stay, though no stream goes that far back.

-- +goose Up
create table kept_from (
    what     text           not null primary key check (what in ('events', 'audit')),
    sequence bigint         not null,
    at       timestamptz(3) not null
);

insert into kept_from (what, sequence, at) values ('events', 0, 'epoch'), ('audit', 0, 'epoch');

alter table kept_from enable row level security;
alter table kept_from force row level security;
create policy read on kept_from for select using (true);
create policy write on kept_from for update using ((select hatchwright_scope()) = 'shop');

create index events_kept_for_a_time on events (sequence) where subject_kind <> 'order';
create index webhook_deliveries_of_event on webhook_deliveries (event_id);
create index webhook_deliveries_done on webhook_deliveries (delivered_at) where state = 'delivered';

-- +goose StatementBegin
create function hatchwright_stays_for_its_time() returns trigger language plpgsql as $$ begin
    if tg_table_name = 'events' then
        if old.subject_kind <> 'order' and old.sequence <= (select sequence from kept_from where what = 'events') then
            return old;
        end if;
    elsif old.created_at < (select at from kept_from where what = 'audit') then
        return old;
    end if;
    raise exception 'a record of % is kept for its time', tg_table_name using errcode = 'object_not_in_prerequisite_state';
end $$;
-- +goose StatementEnd

drop trigger never_changes on events;
create trigger never_changes before update on events
    for each row execute function hatchwright_never_changes();
create trigger stays_for_its_time before delete on events
    for each row execute function hatchwright_stays_for_its_time();

drop trigger never_changes on audit_entries;
create trigger never_changes before update on audit_entries
    for each row execute function hatchwright_never_changes();
create trigger stays_for_its_time before delete on audit_entries
    for each row execute function hatchwright_stays_for_its_time();

-- +goose Down
drop trigger stays_for_its_time on audit_entries;
drop trigger never_changes on audit_entries;
create trigger never_changes before update or delete on audit_entries
    for each row execute function hatchwright_never_changes();

drop trigger stays_for_its_time on events;
drop trigger never_changes on events;
create trigger never_changes before update or delete on events
    for each row execute function hatchwright_never_changes();

drop function hatchwright_stays_for_its_time();
drop index webhook_deliveries_done;
drop index webhook_deliveries_of_event;
drop index events_kept_for_a_time;
drop table kept_from;
