Profile: BladderIrrigation
Parent: Procedure
Id: bladder-irrigation
Title: "Bladder irrigation"
Description: "The irrigation of an episode, from the first that is published of it: in preparation until irrigant runs in, not done where the episode ended without any. Or one run of cycles of it, an intermittent or open irrigation, which is part of that. The kind is a second coding; a v3 RouteOfAdministration coding may follow."
* insert Published
* insert Told
* subject 1..1
* identifier and status and code and subject and performed[x] and usedCode and partOf and note MS
* code 1..1
* code = $sct#78533007
* code from irrigation-procedure (required)
* performed[x] only Period
* performedPeriod.start 1..1
* bodySite 1..1
* bodySite = $sct#89837001
* extension contains IrrigationAccount named account 0..1 MS
* extension[account] ^short = "What it has come to so far; what is not known is left out, and the note says why"
* extension contains IrrigationCycle named cycle 0..* MS
* extension[cycle] ^short = "Each cycle of a run, in the order of time"
* outcome from run-outcome (extensible)
* obeys bi-started and bi-kind and bi-account

Invariant: bi-started
Description: "An irrigation into which nothing ran yet is in preparation, or was not done; any other says when it began."
Severity: #error
Expression: "status = 'entered-in-error' or performed.exists() = (status != 'preparation' and status != 'not-done')"

Invariant: bi-kind
Description: "Once irrigant ran in, the kind of irrigation is coded."
Severity: #error
Expression: "performed.exists() implies code.coding.where(system.endsWith('/CodeSystem/irrigation-kind')).exists()"

Invariant: bi-account
Description: "Totals stand once, in the account, and name the time that they cover."
Severity: #error
Expression: "extension.where(url.endsWith('/StructureDefinition/irrigation-account')).all(extension.where(url = 'instilled' or url = 'drained' or url = 'corrected-output').empty() or extension.where(url = 'time').exists())"

Extension: IrrigationCycle
Id: irrigation-cycle
Title: "Cycle of an irrigation"
Description: "One cycle of an intermittent or open irrigation: instilled, held or clamped for its time, returned. What is not known is left out: a return that nobody charted is not 0."
Context: Procedure
* insert Published
* extension ^slicing.rules = #closed
* extension contains
    number 1..1 and
    at 1..1 and
    instilled 1..1 and
    returned 0..1 and
    return-from 0..1 and
    shortfall 0..1 and
    shortfall-interval 0..1 and
    stayed 0..1
* extension[number] ^short = "From 1"
* extension[number].value[x] 1..1
* extension[number].value[x] only positiveInt
* extension[at] ^short = "When the first of it was instilled"
* extension[at].value[x] 1..1
* extension[at].value[x] only dateTime
* extension[instilled] ^short = "What was instilled"
* extension[instilled].value[x] 1..1
* extension[instilled].value[x] only Quantity
* extension[instilled].valueQuantity = 'mL'
* extension[instilled].valueQuantity.value 1..1
* extension[returned] ^short = "What came back, what leaked beside the catheter included"
* extension[returned].value[x] 1..1
* extension[returned].value[x] only Quantity
* extension[returned].valueQuantity = 'mL'
* extension[returned].valueQuantity.value 1..1
* extension[return-from] ^short = "The first of the cycles that the return is of, where that of several was measured together"
* extension[return-from].value[x] 1..1
* extension[return-from].value[x] only positiveInt
* extension[shortfall] ^short = "What did not come back; below 0 what came back beyond, which is urine"
* extension[shortfall].value[x] 1..1
* extension[shortfall].value[x] only Quantity
* extension[shortfall].valueQuantity = 'mL'
* extension[shortfall].valueQuantity.value 1..1
* extension[shortfall-interval] ^short = "Its 95 % interval"
* extension[shortfall-interval].value[x] 1..1
* extension[shortfall-interval].value[x] only Range
* extension[shortfall-interval].valueRange.low 1..1
* extension[shortfall-interval].valueRange.low.value 1..1
* extension[shortfall-interval].valueRange.high 1..1
* extension[shortfall-interval].valueRange.high.value 1..1
* extension[stayed] ^short = "How long it stayed in the bladder"
* extension[stayed].value[x] 1..1
* extension[stayed].value[x] only Quantity
* extension[stayed].valueQuantity = 'min'
* extension[stayed].valueQuantity.value 1..1

Extension: IrrigationAccount
Id: irrigation-account
Title: "Account of an irrigation"
Description: "What an irrigation has come to so far, once it has ended the whole of it: the totals of its closed intervals with the time that they cover, and the last look at the drainage and at how it was borne. A total of which a part is not known is left out, for a part is not a total; the note of the Procedure says why."
Context: Procedure
* insert Published
* extension ^slicing.rules = #closed
* extension contains
    time 0..1 and
    instilled 0..1 and
    drained 0..1 and
    corrected-output 0..1 and
    appearance 0..1 and
    tolerance 0..1
* extension[time] ^short = "The time that the totals cover: the closed intervals, from the first to the last reading that closed one"
* extension[time].value[x] 1..1
* extension[time].value[x] only Period
* extension[time].valuePeriod.start 1..1
* extension[time].valuePeriod.end 1..1
* extension[instilled] ^short = "Irrigant instilled"
* extension[instilled].value[x] 1..1
* extension[instilled].value[x] only Quantity
* extension[instilled].valueQuantity = 'mL'
* extension[instilled].valueQuantity.value 1..1
* extension[drained] ^short = "Drainage measured"
* extension[drained].value[x] 1..1
* extension[drained].value[x] only Quantity
* extension[drained].valueQuantity = 'mL'
* extension[drained].valueQuantity.value 1..1
* extension[corrected-output] ^short = "Corrected urine output, the sum over the closed intervals; may be negative, which is evidence and is not clamped"
* extension[corrected-output].value[x] 1..1
* extension[corrected-output].value[x] only Quantity
* extension[corrected-output].valueQuantity = 'mL'
* extension[corrected-output].valueQuantity.value 1..1
* extension[appearance] ^short = "The last look at the drainage"
* extension[appearance].value[x] 1..1
* extension[appearance].value[x] only Reference(Observation)
* extension[tolerance] ^short = "How it was borne, as noted last"
* extension[tolerance].value[x] 1..1
* extension[tolerance].value[x] only Reference(Observation)

Instance: bladder-irrigation-example
InstanceOf: BladderIrrigation
Usage: #example
Description: "Continuous irrigation, still running."
* insert InventedPatient
* text.status = #generated
* text.div = "<div xmlns=\"http://www.w3.org/1999/xhtml\"><p><b>Continuous bladder irrigation</b></p><p>No drainage was read.</p></div>"
* status = #in-progress
* code.coding[0] = $sct#78533007 "Irrigation of urinary bladder (procedure)"
* code.coding[1] = $kind#continuous "Continuous bladder irrigation"
* code.coding[2] = $route#BLADIRRC "Irrigation, urinary bladder, continuous"
* performedPeriod.start = "2026-03-02T08:00:00+01:00"
* bodySite = $sct#89837001 "Urinary bladder structure (body structure)"
