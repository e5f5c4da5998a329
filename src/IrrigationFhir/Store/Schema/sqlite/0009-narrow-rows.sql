-- What is stored of a resource, in few and narrow rows: a commit writes whole pages, so that an entry should touch few of them.
-- * patient is a number that follows from patient_key (PatientNumber.cs) and leads every key: nobody hands it out, and partitions go by it.
--   Two patients with one number would share a partition and its numbers, and nothing else: ids are told apart by the rows.
-- * number is the place of a resource among those of its patient, in the order in which they came: it is handed out within the partition.
-- * A type is a number of IndexedTypes.cs, a parameter of resource_link one of IndexedParameter.Reference.
-- * What many resources say alike stands once: a set of codings in coding_set, shared by all patients and small; whom a resource is about
--   and who and what had to do with it in reference_set, within the patient. A set is known by its key, a fingerprint of its members; set 0
--   is the empty one.
-- * Every version stands where it was written and stays there, compressed; the one before is found by its time.

alter table resource rename to resource_before;
alter table resource_history rename to resource_history_before;
drop index resource_by_id;
drop index resource_by_date;
drop index resource_by_date_end;
drop index resource_by_last_updated;
drop index resource_by_subject_identifier;
drop index resource_by_subject_reference;
drop index resource_by_status;
drop index resource_history_by_id;
drop index resource_history_by_last_updated;
drop table resource_token;
drop table resource_reference;
drop table resource_date;

-- Current versions. date_from and date_to are half-open; without a date, date_to is null and date_from the greatest integer, which sorts
-- last. measure is the number of the value as written, amount the same in the unit that such quantities are compared in, null where that
-- is no other; both are texts that sort like the numbers they stand for, so that their columns need a binary collation.
create table resource (
    patient      integer not null,
    number       integer not null,
    type         integer not null,
    id           text    not null,
    version_id   integer not null,
    last_updated integer not null,
    date_from    integer not null,
    date_to      integer null,
    status       text    null,
    codes        integer not null,
    labels       integer not null,
    about        integer not null,
    measure      text    null,
    amount       text    null,
    unit         text    null,
    content_hash blob    not null,
    primary key (patient, number)
);

-- Ids begin with that of their episode, which leads to the patient: where patients lie in partitions, it is (patient, type, id).
create unique index resource_by_id on resource (type, id);
create index resource_of_patient on resource (patient, type, date_from);
create index resource_by_date on resource (type, date_from);
create index resource_by_code on resource (type, codes, date_from);

-- What is raised, running, preliminary or taken back is a small part of what is there. Statuses of most are not looked for here.
create index resource_by_status on resource (type, status, date_from) where status not in ('final', 'amended', 'inactive', 'completed');

-- What lasts longer than a day (SearchSql.cs), or has no end: all else that ends after a time began less than a day before it.
create index resource_lasting on resource (type, date_to) where date_to - date_from > 86400000000000;

-- Every version, current or not, in the order of storing. version_before is when the one before it was stored, null for the first. The
-- first byte of json names the dictionary that the rest is compressed with (StoredJson.cs).
create table resource_version (
    at             integer not null,
    patient        integer not null,
    type           integer not null,
    number         integer not null,
    version_id     integer not null,
    version_before integer null,
    json           blob    not null,
    primary key (at, patient, type, number)
);

create table coding_set (
    number integer not null primary key,
    key    blob    not null unique
);

-- part is 0 for the resource itself, from 1 for its components; system is '' where the coding has none.
create table coding_set_member (
    number    integer not null,
    parameter text    not null,
    part      integer not null,
    code      text    not null,
    system    text    not null,
    primary key (number, parameter, part, code, system)
) without rowid;

create index coding_set_member_by_code on coding_set_member (parameter, code);

create table reference_set (
    patient integer not null,
    number  integer not null,
    key     blob    not null,
    primary key (patient, number),
    unique (patient, key)
) without rowid;

-- reference, system and value are '' where the reference has no such part.
create table reference_set_member (
    patient   integer not null,
    number    integer not null,
    parameter text    not null,
    reference text    not null,
    value     text    not null,
    system    text    not null,
    primary key (patient, number, parameter, reference, value, system)
) without rowid;

create index reference_set_member_by_reference on reference_set_member (parameter, reference) where reference <> '';
create index reference_set_member_by_identifier on reference_set_member (parameter, value, system) where value <> '';

-- References that hardly two resources share, by what they point at: the number of a resource of the same patient, or what is none, as the
-- set that holds it, with a minus. What a resource itself points at is in its json.
create table resource_link (
    patient   integer not null,
    parameter integer not null,
    target    integer not null,
    number    integer not null,
    primary key (patient, parameter, target, number)
) without rowid;

-- Values of components, as those in resource.
create table resource_component (
    patient integer not null,
    number  integer not null,
    part    integer not null,
    measure text    not null,
    amount  text    null,
    unit    text    null,
    primary key (patient, number, part)
) without rowid;

-- system is the set of codings that names it. Which identifiers a resource has is in its json.
create table resource_identifier (
    value   text    not null,
    system  integer not null,
    patient integer not null,
    number  integer not null,
    primary key (value, system, patient, number)
) without rowid;

-- Times beside the one a resource happened at, half-open like that: when a flag was first seen.
create table resource_time (
    patient   integer not null,
    number    integer not null,
    parameter text    not null,
    date_from integer not null,
    date_to   integer not null,
    primary key (patient, number, parameter, date_from, date_to)
) without rowid;
