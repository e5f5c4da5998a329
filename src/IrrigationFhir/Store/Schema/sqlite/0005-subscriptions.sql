-- Who is to be told of what. About no patient, like a lease, so that the key is the subscription's own id; what its client sees of it is
-- a resource like any other. request holds secrets (the header lines of the channel) and is never read out.
create table subscription (
    id            text    not null primary key,
    status        text    not null,
    topic         text    not null,
    filters       text    not null,
    request       text    not null,
    error         text    null,
    heartbeat     integer null,
    ends_at       integer null,
    events        integer not null default 0,
    delivered     integer not null default 0,
    started_at    integer null,
    failing_since integer null,
    attempts      integer not null default 0,
    last_failure  text    null,
    last_sent_at  integer null
) without rowid;

-- Subscriptions that are off stay, so that nobody steps over them.
create index subscription_served on subscription (id) where status <> 'off';

-- The events of each subscription, numbered from 1 without a gap in the transaction that made them so: a version of a resource each.
create table subscription_event (
    subscription_id text    not null,
    number          integer not null,
    outbox_number   integer not null,
    patient_key     text    not null,
    type            text    not null,
    id              text    not null,
    version_id      integer not null,
    event           text    not null,
    at              integer not null,
    primary key (subscription_id, number)
) without rowid;

-- Which resources a subscription has been told of: it is told again when one is taken back, however long ago that was.
create table subscription_told (
    type            text not null,
    id              text not null,
    subscription_id text not null,
    primary key (type, id, subscription_id)
) without rowid;

create index subscription_event_by_outbox on subscription_event (outbox_number);
create index subscription_event_by_time on subscription_event (at);
create index outbox_by_time on outbox (at);
