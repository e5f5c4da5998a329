Profile: Correction
Parent: Provenance
Id: correction
Title: "Correction"
Description: "Who corrected or struck out an entry or a result, when, and why. The target is the new version, the entity the one it replaces."
* insert Published
* activity 1..1
* activity from correction-activity (required)
* entity.role = #revision

Instance: correction-example
InstanceOf: Correction
Usage: #example
Description: "A drainage volume corrected after a reading error."
* target.reference = "Observation/drainage-0001"
* recorded = "2026-03-02T15:00:00+01:00"
* activity = $operation#UPDATE "revise"
* reason.text = "Read from the wrong mark"
* agent.who.identifier.system = "https://ward.example/staff"
* agent.who.identifier.value = "N-0001"
* entity.role = #revision
* entity.what.reference = "Observation/drainage-0001/_history/1"
