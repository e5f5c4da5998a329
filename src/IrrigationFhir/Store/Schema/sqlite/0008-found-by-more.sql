-- What is searched by from here on, of resources from before: the coded value of an Observation, and how soon somebody has to look at a Flag.
insert or ignore into resource_token (patient_key, type, id, parameter, part, code, system)
select r.patient_key, r.type, r.id, 'value-concept', 0, json_extract(c.value, '$.code'), ifnull(json_extract(c.value, '$.system'), '')
from resource r, json_each(r.json, '$.valueCodeableConcept.coding') c
where r.type = 'Observation' and json_extract(c.value, '$.code') <> '';

insert or ignore into resource_token (patient_key, type, id, parameter, part, code, system)
select r.patient_key, r.type, r.id, 'priority', 0, json_extract(c.value, '$.code'), ifnull(json_extract(c.value, '$.system'), '')
from resource r, json_each(r.json, '$.extension') e, json_each(e.value, '$.valueCodeableConcept.coding') c
where r.type = 'Flag' and json_extract(e.value, '$.url') like '%/StructureDefinition/flag-priority' and json_extract(c.value, '$.code') <> '';

-- Observations point at their patient by address too.
create index episode_by_patient_address on episode (json_extract(json, '$.patient.reference')) where json_extract(json, '$.patient.reference') is not null;
