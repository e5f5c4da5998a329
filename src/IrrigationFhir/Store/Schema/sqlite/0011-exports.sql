-- Exports that were asked for over HTTP, and how far they are. About no patient, like a lease, so that the key is the export's own id.
-- request says what was asked for and files what there is of it, as JSON; the files lie beside the database, in a folder of that id.
create table export_job (
    id               text    not null primary key,
    request          text    not null,
    state            text    not null,
    created_at       integer not null,
    transaction_time integer null,
    progress         text    null,
    files            text    not null default '[]',
    error            text    null,
    expires_at       integer null,
    holder           text    null,
    lease_until      integer not null default 0,
    attempts         integer not null default 0
) without rowid;
