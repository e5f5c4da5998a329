-- Times beside the one a resource happened at, half-open like that: when a flag was first seen.
create table resource_date (
    patient_key text    not null,
    type        text    not null,
    id          text    not null,
    parameter   text    not null,
    date_from   integer not null,
    date_to     integer not null,
    primary key (patient_key, type, id, parameter, date_from, date_to)
) without rowid;

-- Flags from before, to the second. How long it took to see them is in their text from their next version on.
insert into resource_date (patient_key, type, id, parameter, date_from, date_to)
select r.patient_key, r.type, r.id, 'acknowledged',
    cast(strftime('%s', json_extract(e.value, '$.valueDateTime')) as integer) * 1000000000,
    cast(strftime('%s', json_extract(e.value, '$.valueDateTime')) as integer) * 1000000000 + 1000000000
from resource r, json_each(r.json, '$.extension') e
where r.type = 'Flag' and json_extract(e.value, '$.url') like '%/StructureDefinition/flag-acknowledged' and strftime('%s', json_extract(e.value, '$.valueDateTime')) is not null;
