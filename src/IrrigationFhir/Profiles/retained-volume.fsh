Profile: RetainedVolume
Parent: Observation
Id: retained-volume
Title: "Retained volume"
Description: "What the bladder held when the balance closed, by the scan that anchors it, and how that changed since the closing anchored before. Never a measurement of irrigant alone: the bladder holds irrigant, urine and blood together."
* insert Published
* insert OfAnIrrigation
* insert SubjectAndTime
* effective[x] only dateTime
* insert VolumeOrReason
* code = $observation#retained-volume
* method 1..1
* method from measuring-way (required)
* insert ComponentsByCode(#closed)
* component contains retained-change 0..1
* insert QuantityComponent(retained-change, mL)
* obeys rv-derived-from and ifh-component-value-or-reason

Invariant: rv-derived-from
Description: "A retained volume names the scan it rests on."
Severity: #error
Expression: "value.empty() or derivedFrom.exists()"

Instance: retained-volume-example
InstanceOf: RetainedVolume
Usage: #example
Description: "80 mL at the closing of 14:10, 50 mL more than at the one before."
* insert InventedPatient
* partOf.reference = "Procedure/bladder-irrigation-example"
* status = #final
* code = $observation#retained-volume "Retained volume"
* effectiveDateTime = "2026-03-02T14:10:00+01:00"
* valueQuantity = 80 'mL' "mL"
* method = $measuring#scan "By bladder scan"
* derivedFrom.reference = "Observation/bladder-scan-volume-example"
* component[retained-change].code = $observation#retained-change "Change of the retained volume"
* component[retained-change].valueQuantity = 50 'mL' "mL"
