-- Scripts 0001 and 0005 were edited after services had run them. This brings stores that were made in between to what they say now,
-- and changes nothing in a store that they made as they are. What SQL cannot decide for itself is done before, in Migration.cs.
create index if not exists resource_history_by_last_updated on resource_history (type, last_updated, id);

drop index if exists subscription_by_topic;
drop index if exists subscription_event_by_resource;
create index if not exists subscription_served on subscription (id) where status <> 'off';

create table if not exists subscription_told (
    type            text not null,
    id              text not null,
    subscription_id text not null,
    primary key (type, id, subscription_id)
) without rowid;

-- Whoever was told of a resource before this was remembered is told too when it is taken back.
insert or ignore into subscription_told (type, id, subscription_id) select type, id, subscription_id from subscription_event;
