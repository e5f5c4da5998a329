// Judges what our tests wrote out (examples.ndjson, units.ndjson in the first folder) and what lies in the repository (the second).
import { readFileSync, readdirSync } from 'node:fs';
import { join } from 'node:path';
import fhirpath from 'fhirpath';
import r4 from 'fhirpath/fhir-context/r4/index.js';
import ucum from '@lhncbc/ucum-lhc';

const [written, repository] = process.argv.slice(2);
const Ucum = 'http://unitsofmeasure.org';
const lines = file => readFileSync(join(written, file), 'utf8').split('\n').filter(Boolean).map(line => JSON.parse(line));
const json = file => JSON.parse(readFileSync(file, 'utf8'));
const below = (folder, type) => readdirSync(folder, { withFileTypes: true, recursive: true })
    .filter(entry => entry.isFile() && entry.name.endsWith(type)).map(entry => join(entry.parentPath ?? entry.path, entry.name)).sort();
const disagreements = [];
const disagree = text => disagreements.push(text);

// --- FHIRPath ---------------------------------------------------------------------------------------------------------------------

// Each constraint once, with the place it stands at. Of slices only the whole list is judged: R4 says there what it says of each.
const profiles = new Map(readdirSync(join(repository, 'src/IrrigationFhir/Profiles')).filter(name => name.endsWith('.json') && !name.endsWith('.example.json'))
    .map(name => json(join(repository, 'src/IrrigationFhir/Profiles', name))).filter(profile => profile.resourceType === 'StructureDefinition').map(profile => {
        const own = new Set(profile.differential.element.flatMap(element => element.constraint ?? []).map(constraint => constraint.key));
        const constraints = profile.snapshot.element.filter(element => !element.id.includes(':')).flatMap(element => (element.constraint ?? [])
            .filter(constraint => constraint.severity === 'error' && constraint.expression)
            .map(constraint => ({ key: constraint.key, own: own.has(constraint.key), expression: constraint.expression, at: element.path.split('.').slice(1).join('.').replace('[x]', '') })));
        return [profile.url, { id: profile.id, own, constraints }];
    }));
const compiled = new Map();
let evaluations = 0;

function holds(constraint, resource) {
    const places = constraint.at === '' ? [resource] : evaluate(constraint.at, resource, resource);
    return places.every(place => {
        const [answer, ...more] = evaluate(constraint.expression, place, resource);
        evaluations++;
        // Empty is no "true" of our own invariants. Of R4's, ref-1 is empty for a reference by identifier alone, which R4 allows.
        return more.length === 0 && (answer === true || (answer === undefined && constraint.key === 'ref-1'));
    });
}

function evaluate(expression, place, resource) {
    if (!compiled.has(expression)) compiled.set(expression, fhirpath.compile(expression, r4, { resolveInternalTypes: false, traceFn: () => { } }));
    return compiled.get(expression)(place, { resource, rootResource: resource });
}

function failing(resource) {
    const profile = (resource.meta?.profile ?? []).map(url => profiles.get(url)).find(Boolean);
    if (!profile) throw new Error(`no profile of ours for ${resource.resourceType} ${resource.id}`);
    return { profile, keys: [...new Set(profile.constraints.filter(constraint => !holds(constraint, resource)).map(constraint => constraint.key))] };
}

const proved = new Set();
let kept = 0;
for (const { fails, resource } of lines('examples.ndjson')) {
    const { profile, keys } = failing(resource);
    const expected = fails === '' ? [] : [fails];
    if (keys.join() !== expected.join()) disagree(`${profile.id}: we say [${expected}], FHIRPath says [${keys}] of ${JSON.stringify(resource)}`);
    if (fails === '') kept++;
    else proved.add(`${profile.id} ${fails}`);
}

for (const { id, own } of profiles.values()) {
    for (const key of own) if (!proved.has(`${id} ${key}`)) disagree(`${id} ${key}: nothing breaks it`);
}

// Bodies of requests may be wrong on purpose; answers may not. A part of a resource keeps no profile, and says that it is one.
const folder = join(repository, 'fhir-examples');
const examples = below(folder, '.json').filter(file => !file.startsWith(join(folder, 'requests'))).map(file => ({ file, content: json(file) }))
    .concat(below(folder, '.response.http').map(file => ({ file, body: readFileSync(file, 'utf8').split('\n\n').slice(1).join('\n\n') })).filter(({ body }) => body).map(({ file, body }) => ({ file, content: JSON.parse(body) })));
const within = node => node === null || typeof node !== 'object' ? [] : [...(node.resourceType ? [node] : []), ...Object.values(node).flatMap(within)];
const published = examples.flatMap(({ file, content }) => within(content).map(content => ({ file, content })))
    .filter(({ content }) => content.meta?.profile?.some(url => profiles.has(url)) && !content.meta.tag?.some(tag => tag.code === 'SUBSETTED'));
if (published.length === 0) disagree('no resource of ours in fhir-examples');
for (const { file, content } of published) {
    const { keys } = failing(content);
    if (keys.length > 0) disagree(`${file}: FHIRPath says [${keys}]`);
}

console.log(`FHIRPath: ${published.length} resources in fhir-examples and ${kept} others keep, ${proved.size} break as meant; ${evaluations} evaluations of ${compiled.size} expressions`);

// --- UCUM -------------------------------------------------------------------------------------------------------------------------

const units = ucum.UcumLhcUtils.getInstance();
const valid = code => units.validateUnitString(code).status === 'valid';
let conversions = 0;
const rows = lines('units.ndjson');
for (const { list, unit, factor, of } of rows) {
    if (!valid(unit)) disagree(`${list}: ${unit} is no UCUM unit`);
    if (of === null) continue;
    const { status, toVal, msg } = units.convertUnitTo(unit, 1, of);
    if (status !== 'succeeded') disagree(`${list}: ${unit} in ${of}: ${msg}`);
    // The oracle counts in binary.
    else if (Math.abs(toVal / Number(factor) - 1) > 1e-12) disagree(`${list}: 1 ${unit} is ${toVal} ${of}, we say ${factor}`);
    conversions++;
}

// What units.md says of the two that are not taken.
if (valid('cc')) disagree('cc is a UCUM unit');
if (Math.abs(units.convertUnitTo('[drp]', 20, 'mL').toVal - 1) > 1e-12) disagree('20 [drp] are not 1 mL');

let quantities = 0;
const used = new Set();
function quantitiesOf(node, file) {
    if (node === null || typeof node !== 'object') return;
    const code = node.system === Ucum ? node.code : 'value' in node && typeof node.value === 'number' && 'unit' in node && !('system' in node) ? node.unit : undefined;
    if (code !== undefined) {
        quantities++;
        used.add(code);
        if (!valid(code)) disagree(`${file}: ${code} is no UCUM unit`);
    }

    for (const child of Object.values(node)) quantitiesOf(child, file);
}

for (const { file, content } of examples) quantitiesOf(content, file);
for (const file of below(folder, '.ndjson')) readFileSync(file, 'utf8').split('\n').filter(Boolean).forEach(line => quantitiesOf(JSON.parse(line), file));
if (quantities === 0) disagree('no quantity in fhir-examples');

console.log(`UCUM: ${rows.length} units are valid where we list them, ${conversions} factors; ${quantities} quantities in fhir-examples in ${used.size} units`);

for (const text of disagreements) console.error(`disagreement: ${text}`);
console.log(disagreements.length === 0 ? 'no disagreement' : `${disagreements.length} disagreements`);
process.exitCode = disagreements.length === 0 ? 0 : 1;
