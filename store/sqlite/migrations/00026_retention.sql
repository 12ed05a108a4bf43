-- What is kept for a time only. kept_from says up to which event, and from which
-- instant on, things are kept; a row beyond it cannot be removed. Events of orders
-- are their history: they stay, though no stream goes that far back.

-- +goose Up
create table kept_from (
    what     text    not null primary key check (what in ('events', 'audit')),
    sequence integer not null,
    at       integer not null
) strict;

insert into kept_from (what, sequence, at) values ('events', 0, 0), ('audit', 0, 0);

create index events_kept_for_a_time on events (sequence) where subject_kind <> 'order';
create index webhook_deliveries_of_event on webhook_deliveries (event_id);
create index webhook_deliveries_done on webhook_deliveries (delivered_at) where state = 'delivered';

drop trigger events_never_go;

-- +goose StatementBegin
create trigger events_stay_for_their_time before delete on events
when old.subject_kind = 'order' or old.sequence > (select sequence from kept_from where what = 'events')
begin
    select raise(abort, 'an event is kept for its time, and one of an order for good');
end;
-- +goose StatementEnd

drop trigger audit_never_goes;

-- +goose StatementBegin
create trigger audit_stays_for_its_time before delete on audit_entries
when old.created_at >= (select at from kept_from where what = 'audit')
begin
    select raise(abort, 'an audit entry is kept for its time');
end;
-- +goose StatementEnd

-- +goose Down
drop trigger audit_stays_for_its_time;

-- +goose StatementBegin
create trigger audit_never_goes before delete on audit_entries
begin
    select raise(abort, 'an audit entry is never removed');
end;
-- +goose StatementEnd

drop trigger events_stay_for_their_time;

-- +goose StatementBegin
create trigger events_never_go before delete on events
begin
    select raise(abort, 'an event is never removed');
end;
-- +goose StatementEnd

drop index webhook_deliveries_done;
drop index webhook_deliveries_of_event;
drop index events_kept_for_a_time;
drop table kept_from;
