CodeSystem: EntryProperty
Id: entry-property
Title: "Properties of an entry"
Description: "Properties that a concept map can set on an entry besides its kind, as product.property with the code after #."
* insert Published
* ^caseSensitive = true
* #how "How" "How it was measured."
* #route "Route" "The route that urine took."
* #weightKind "Kind of weight" "What kind of weight it is."
* #clarity "Clarity" "How clear the drainage looked."
* #colour "Colour" "Colour in a word."
* #line "Line" "The irrigation line."
* #container "Container" "The drainage container."
