// The one dictionary of systems. Local code systems are named by their id.
Alias: $loinc = http://loinc.org
Alias: $sct = http://snomed.info/sct
Alias: $mdc = urn:iso:std:iso:11073:10101
Alias: $ucum = http://unitsofmeasure.org
Alias: $category = http://terminology.hl7.org/CodeSystem/observation-category
Alias: $absent = http://terminology.hl7.org/CodeSystem/data-absent-reason
Alias: $operation = http://terminology.hl7.org/CodeSystem/v3-DataOperation
Alias: $route = http://terminology.hl7.org/CodeSystem/v3-RouteOfAdministration
Alias: $status = http://hl7.org/fhir/observation-status

Alias: $observation = https://irrigationfhir.example/fhir/CodeSystem/irrigation-observation
Alias: $kind = https://irrigationfhir.example/fhir/CodeSystem/irrigation-kind
Alias: $window = https://irrigationfhir.example/fhir/CodeSystem/output-window
Alias: $calculation = https://irrigationfhir.example/fhir/CodeSystem/calculation-method
Alias: $measuring = https://irrigationfhir.example/fhir/CodeSystem/measuring-way
Alias: $urine-route = https://irrigationfhir.example/fhir/CodeSystem/urine-route
Alias: $term = https://irrigationfhir.example/fhir/CodeSystem/balance-term
Alias: $caveat = https://irrigationfhir.example/fhir/CodeSystem/caveat
