Profile: BladderIrrigation
Parent: Procedure
Id: bladder-irrigation
Title: "Bladder irrigation"
Description: "One continuous run, or one intermittent or open irrigation. The kind is a second coding; a v3 RouteOfAdministration coding may follow."
* insert Published
* subject 1..1
* code 1..1
* code = $sct#78533007
* code from irrigation-kind (required)
* performed[x] 1..1
* performed[x] only Period
* performedPeriod.start 1..1
* bodySite 1..1
* bodySite = $sct#89837001

Instance: bladder-irrigation-example
InstanceOf: BladderIrrigation
Usage: #example
Description: "Continuous irrigation, still running."
* insert InventedPatient
* status = #in-progress
* code.coding[0] = $sct#78533007 "Irrigation of urinary bladder (procedure)"
* code.coding[1] = $kind#continuous "Continuous bladder irrigation"
* code.coding[2] = $route#BLADIRRC "Irrigation, urinary bladder, continuous"
* performedPeriod.start = "2026-03-02T08:00:00+01:00"
* bodySite = $sct#89837001 "Urinary bladder structure (body structure)"
