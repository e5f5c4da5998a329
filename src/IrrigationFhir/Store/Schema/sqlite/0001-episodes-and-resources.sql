-- Instants are integers: nanoseconds since 1970-01-01T00:00:00Z, exact for NodaTime.Instant (1677 to 2262).
-- Every table has patient_key in its primary key, so that the rows of one patient stay together.

create table episode (
    patient_key       text    not null,
    id                text    not null,
    version           integer not null,
    last_sequence     integer not null,
    identifier_system text    null,
    identifier_value  text    null,
    patient_system    text    null,
    patient_value     text    null,
    opened_at         integer not null,
    closed_at         integer null,
    json              text    not null,
    primary key (patient_key, id)
) without rowid;

create unique index episode_by_id on episode (id);
create unique index episode_by_identifier on episode (identifier_value, ifnull(identifier_system, '')) where identifier_value is not null;
create index episode_by_patient on episode (patient_value, patient_system) where patient_value is not null;
create index episode_open on episode (id) where closed_at is null;

-- The second constraint is the idempotency of the entries API: one row per sender's id and revision.
create table entry (
    patient_key text    not null,
    episode_id  text    not null,
    sequence    integer not null,
    source      text    not null,
    entry_id    text    not null,
    revision    integer not null,
    kind        text    not null,
    at          integer not null,
    received_at integer not null,
    json        text    not null,
    primary key (patient_key, episode_id, sequence),
    unique (patient_key, episode_id, source, entry_id, revision),
    foreign key (patient_key, episode_id) references episode (patient_key, id)
) without rowid;

-- Current versions only, so that a search never steps over old ones.
-- date_from and date_to are half-open; without a date, date_to is null and date_from the greatest integer, which sorts last.
create table resource (
    patient_key       text    not null,
    type              text    not null,
    id                text    not null,
    version_id        integer not null,
    last_updated      integer not null,
    date_from         integer not null,
    date_to           integer null,
    status            text    null,
    subject_reference text    null,
    subject_system    text    null,
    subject_value     text    null,
    content_hash      blob    not null,
    index_hash        blob    not null,
    json              text    not null,
    primary key (patient_key, type, id)
);

create unique index resource_by_id on resource (type, id);
create index resource_by_date on resource (type, date_from, id);
create index resource_by_date_end on resource (type, date_to);
create index resource_by_last_updated on resource (type, last_updated, id);
create index resource_by_subject_identifier on resource (type, subject_value, date_from, id) where subject_value is not null;
create index resource_by_subject_reference on resource (type, subject_reference, date_from, id) where subject_reference is not null;

create table resource_history (
    patient_key  text    not null,
    type         text    not null,
    id           text    not null,
    version_id   integer not null,
    last_updated integer not null,
    json         text    not null,
    primary key (patient_key, type, id, version_id)
);

create index resource_history_by_id on resource_history (type, id, version_id);
create index resource_history_by_last_updated on resource_history (type, last_updated, id);

-- system is '' where the coding or identifier has none; part is 0 for the resource itself, from 1 for its components.
-- Rows of the parameters code and component-code also hold the value beside the code (number as written, amount in the unit that
-- such quantities are compared in, null where that is the same) and the resource's date_from. Numbers are texts that sort like
-- the numbers they stand for, so that their columns need a binary collation.
create table resource_token (
    patient_key text    not null,
    type        text    not null,
    id          text    not null,
    parameter   text    not null,
    part        integer not null,
    code        text    not null,
    system      text    not null,
    number      text    null,
    amount      text    null,
    unit        text    null,
    date_from   integer null,
    primary key (patient_key, type, id, parameter, part, code, system)
) without rowid;

-- Identifiers lead to a resource, and so does its code, in the order of its date. Other codes are looked up from the resource, by
-- the primary key: they are shared by so many that no index would help.
create index resource_token_by_identifier on resource_token (type, code, system) where parameter = 'identifier';
create index resource_token_by_code on resource_token (type, code, date_from, id, system) where parameter = 'code';

-- reference, system and value are '' where the reference has no such part.
create table resource_reference (
    patient_key text not null,
    type        text not null,
    id          text not null,
    parameter   text not null,
    reference   text not null,
    value       text not null,
    system      text not null,
    primary key (patient_key, type, id, parameter, reference, value, system)
) without rowid;

create index resource_reference_by_reference on resource_reference (type, parameter, reference) where reference <> '';
create index resource_reference_by_identifier on resource_reference (type, parameter, value, system) where value <> '';

-- Resources of ours that failed their own profile: never published, always counted.
create table withheld (
    patient_key text    not null,
    type        text    not null,
    id          text    not null,
    faults      text    not null,
    at          integer not null,
    primary key (patient_key, type, id)
) without rowid;
