-- Up to when the flags of an episode are worked out, and when time alone may change them; null where it cannot.
alter table episode add column flags_as_of integer null;
alter table episode add column next_look integer null;

-- Episodes from before are looked at once.
update episode set next_look = 0 where closed_at is null;

create index episode_due on episode (next_look, id) where next_look is not null;

-- What subscribers are to be told, in the order in which it became so; written with the version it is about.
create table outbox (
    patient_key text    not null,
    number      integer not null,
    episode_id  text    not null,
    type        text    not null,
    id          text    not null,
    version_id  integer not null,
    event       text    not null,
    at          integer not null,
    primary key (patient_key, number)
) without rowid;

create unique index outbox_by_number on outbox (number);

-- Work that one replica does at a time: who does it, and until when nobody else may. About no patient, so that the key is the work's name.
create table lease (
    name   text    not null primary key,
    holder text    not null,
    until  integer not null
) without rowid;
