-- What was done by whom. Rows are added, never changed; they go a whole day at a time when they have been kept long enough.
-- content is the entry as packed JSON, hash the SHA-256 of the hash of the row before, the number and the content: a row that is missing,
-- added or changed breaks the chain. The columns before it say again what the entry is found by; patient is the number of its patient.
create table audit (
    number   integer not null primary key,
    day      integer not null,
    recorded integer not null,
    patient  integer null,
    deed     integer not null,
    client   text    not null,
    content  blob    not null,
    hash     blob    not null
);
create index audit_by_recorded on audit (recorded, number);
create index audit_by_patient on audit (patient, recorded, number) where patient is not null;

-- A day of storing (days since 1970, UTC) that has ended: its first and last row, and the hash of that. Stays when its rows go, so that the
-- chain of what is left has something to hang on.
create table audit_day (
    day        integer not null primary key,
    first      integer not null,
    last       integer not null,
    hash       blob    not null,
    removed_at integer null
);

-- How far the file of reads that wait to be stored has been stored: nothing of it twice.
create table audit_taken (
    only_row integer not null primary key check (only_row = 1),
    file     integer not null,
    lines    integer not null
);
