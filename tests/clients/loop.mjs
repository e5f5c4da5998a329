// What an integrator does, with fhir-kit-client: create, create unless it is there, transaction, correct, lose a race, read versions,
// search page by page, everything of a patient, withdraw. Invented readings; each step says what it saw, and the first wrong one fails.
import assert from 'node:assert/strict';
import { Client } from 'fhir-kit-client';

const [service] = process.argv.slice(2);
const client = new Client({ baseUrl: `${service}/fhir` });
const patients = 'https://lantern-quay.example/patients';
const irrigations = 'https://lantern-quay.example/irrigations';
const readings = 'https://lantern-quay.example/bedside-gateway';
const kinds = 'https://irrigationfhir.example/fhir/CodeSystem/entry-kind';
const seen = (what, ...values) => console.log(`${what}: ${values.join(', ')}`);
const refused = async (status, does) => {
    const error = await does().then(() => null, error => error);
    assert.equal(error?.response?.status, status);
    assert.equal(error.response.data.resourceType, 'OperationOutcome');
    return error.response.data.issue[0].diagnostics;
};

const opened = await fetch(`${service}/episodes`, {
    method: 'POST',
    headers: { 'content-type': 'application/json' },
    body: JSON.stringify({
        identifier: { system: irrigations, value: 'I-1' },
        patient: { identifier: { system: patients, value: 'P-1' }, display: 'Petronella Fennimore (invented)' },
        location: { ward: 'North 4 (invented)', bed: '1' },
        start: '2026-03-14T08:00:00Z',
    }),
});
assert.equal(opened.status, 201);

const statement = await client.capabilityStatement();
assert.equal(statement.fhirVersion, '4.0.1');

const at = clock => `2026-03-14T${clock}:00Z`;
const reading = (kind, clock, value, since) => ({
    resourceType: 'Observation',
    identifier: [{ system: readings, value: `${kind}-${clock}` }],
    status: 'final',
    code: { coding: [{ system: kinds, code: kind }] },
    subject: { identifier: { system: patients, value: 'P-1' } },
    ...(since ? { effectivePeriod: { start: at(since), end: at(clock) } } : { effectiveDateTime: at(clock) }),
    valueQuantity: { value, unit: 'mL', system: 'http://unitsofmeasure.org', code: 'mL' },
});

const first = reading('drainage-emptied', '08:05', 100);
const created = await client.create({ resourceType: 'Observation', body: first });
assert.deepEqual([created.meta.versionId, created.valueQuantity.value], ['1', 100]);
const again = await client.create({
    resourceType: 'Observation',
    body: first,
    options: { headers: { 'If-None-Exist': `identifier=${readings}|${first.identifier[0].value}` } },
});
assert.equal(Client.httpFor(again).response.status, 200);
seen('created once', created.id);

const entry = resource => ({ resource, request: { method: 'POST', url: 'Observation' } });
const taken = await client.transaction({
    body: {
        resourceType: 'Bundle',
        type: 'transaction',
        entry: [entry(reading('irrigant-instilled', '08:30', 500, '08:10')), entry(reading('drainage-emptied', '09:00', 570))],
    },
});
assert.ok(taken.entry.every(answered => answered.response.status.startsWith('201')));
const id = taken.entry[1].response.location.match(/Observation\/([^/]+)/)[1];

// Read, changed, put: as it came, but for what is changed.
const drained = await client.read({ resourceType: 'Observation', id });
const change = { ...drained, status: 'corrected', valueQuantity: { ...drained.valueQuantity, value: 580 } };
const corrected = await client.update({ resourceType: 'Observation', id, body: change, options: { headers: { 'If-Match': 'W/"1"' } } });
assert.deepEqual([corrected.meta.versionId, corrected.valueQuantity.value], ['2', 580]);
seen('a race lost', await refused(412, () =>
    client.update({ resourceType: 'Observation', id, body: change, options: { headers: { 'If-Match': 'W/"1"' } } })));
const versions = await client.history({ resourceType: 'Observation', id });
assert.deepEqual(versions.entry.map(version => version.resource.valueQuantity.value), [580, 570]);
const earlier = await client.vread({ resourceType: 'Observation', id, version: '1' });
assert.equal(earlier.valueQuantity.value, 570);

// 580 - 500: what was worked out, found by the irrigation, in pages of one.
const whole = await client.search({ resourceType: 'Procedure', searchParams: { identifier: `${irrigations}|I-1` } });
assert.equal(whole.entry.length, 1);
const profile = 'https://irrigationfhir.example/fhir/StructureDefinition/corrected-urine-output';
const outputs = [];
for (
    let page = await client.search({ resourceType: 'Observation',
        searchParams: { 'part-of': `Procedure/${whole.entry[0].resource.id}`, _profile: profile, _count: 1 } });
    page;
    page = page.link.some(link => link.relation === 'next') ? await client.nextPage({ bundle: page }) : null
) outputs.push(...(page.entry ?? []).map(found => found.resource));
assert.equal(new Set(outputs.map(output => output.id)).size, outputs.length);
assert.ok(outputs.some(output => output.valueQuantity?.value === 80));
seen('corrected urine output', ...outputs.map(output => `${output.valueQuantity?.value ?? 'not known'} mL`));

const posted = await client.resourceSearch({
    resourceType: 'Observation', searchParams: { 'subject:identifier': `${patients}|P-1`, _summary: 'count' }, options: { postSearch: true },
});
assert.ok(posted.total >= 4);
const latest = await client.operation({
    name: 'lastn', resourceType: 'Observation', method: 'get',
    input: { 'subject:identifier': `${patients}|P-1`, code: `${kinds}|drainage-emptied` },
});
assert.deepEqual(latest.entry.map(found => found.resource.valueQuantity.value), [580]);

corrected.status = 'entered-in-error';
const withdrawn = await client.update({ resourceType: 'Observation', id, body: corrected });
assert.equal(withdrawn.status, 'entered-in-error');
seen('nothing is deleted', await refused(405, () => client.delete({ resourceType: 'Observation', id })));
console.log('All steps as they should be.');
