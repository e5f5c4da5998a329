-- Keys that this service signs access tokens with, and assertions of clients that were used. About no patient, like a lease.

-- key: PKCS#8, sealed by a key of the site that lies outside the store; a backup alone signs nothing.
-- not_before: signs from then on, and is published from when it was made. retire_at: no longer published; null while none follows.
create table access_key (
    kid        text    not null primary key,
    key        blob    not null,
    not_before integer not null,
    retire_at  integer null
) without rowid;

-- Each once: whoever inserts it first is let in. Forgotten after the assertion has expired.
create table access_assertion (
    issuer text    not null,
    jti    text    not null,
    until  integer not null,
    primary key (issuer, jti)
) without rowid;

create index access_assertion_by_until on access_assertion (until);
