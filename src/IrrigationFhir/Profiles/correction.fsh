Profile: Correction
Parent: Provenance
Id: correction
Title: "Correction"
Description: "Who corrected or struck out an entry or a result, when, and why. The target is the new version, the entity the one it replaces."
* insert Published
* extension contains PartOfIrrigation named irrigation 1..1 MS
* target ^short = "The versions that came of it"
* occurred[x] ^short = "When it was charted, where somebody said so"
* recorded ^short = "When the service recorded it"
* agent.type 1..1
* agent.type from provenance-agent (required)
* target and recorded and activity and agent and entity and reason MS
* obeys co-versions
* activity 1..1
* activity from correction-activity (required)
* entity.role = #revision

Invariant: co-versions
Description: "What it is about is named with the version: of a target the one that came of it, of an entity the one that was replaced."
Severity: #error
Expression: "(target | entity.what).reference.all(matches('^[A-Za-z]+/[A-Za-z0-9.-]+/_history/[0-9]+$'))"

Instance: correction-example
InstanceOf: Correction
Usage: #example
Description: "A drainage volume corrected after a reading error."
* extension[irrigation].valueReference.reference = "Procedure/bladder-irrigation-example"
* target.reference = "Observation/drainage-0001/_history/2"
* recorded = "2026-03-02T15:00:00+01:00"
* activity = $operation#UPDATE "revise"
* reason.text = "Read from the wrong mark"
* agent.type = $participant#author "Author"
* agent.who.identifier.system = "https://ward.example/staff"
* agent.who.identifier.value = "N-0001"
* entity.role = #revision
* entity.what.reference = "Observation/drainage-0001/_history/1"
