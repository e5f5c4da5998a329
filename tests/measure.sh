#!/usr/bin/env bash
# How large the code is and how it hangs together: files, lines, wide lines, longest file and method, circles between rooms. Of this tree,
# or of another one:
#   tests/measure.sh [FOLDER]
set -euo pipefail
root=$(cd "${1:-"$(dirname "${BASH_SOURCE[0]}")/.."}" && pwd)
python3 - "$root" <<'P'
import collections, pathlib, re, statistics, sys

root = pathlib.Path(sys.argv[1])
for part in ["src/Irrigation", "src/IrrigationFhir", "tests"]:
    files = [f for f in (root / part).rglob("*.cs") if not {"bin", "obj"} & set(f.parts)]
    texts = {f: f.read_text("utf-8-sig").splitlines() for f in files}
    lines = sum(map(len, texts.values()))
    wide = sum(len(line) > 140 for text in texts.values() for line in text)
    longest = max(files, key=lambda f: len(texts[f]))
    methods = []
    for f, text in texts.items():
        start = None
        for n, line in enumerate(text):
            # A member of a type: four blanks, a name and a bracket; it ends at the brace or semicolon of its own depth.
            if re.match(r" {4}(?!//)[\w\[].*\(", line) and not line.rstrip().endswith(";"):
                start = n
            if start is not None and re.match(r" {4}\}", line):
                methods.append((n - start + 1, f"{f.name}:{start + 1}"))
                start = None
    sizes = [len(t) for t in texts.values()]
    print(f"{part}: {len(files)} files, {lines} lines; file median {statistics.median(sizes):.0f}, longest {len(texts[longest])} ({longest.name}); "
          f"method median {statistics.median(m for m, _ in methods):.0f}, longest {max(methods)[0]} ({max(methods)[1]}); "
          f"wider than 140: {wide} ({100 * wide / lines:.1f} %)")

service = root / "src/IrrigationFhir"
rooms = [d.name for d in service.iterdir() if d.is_dir() and d.name not in ("bin", "obj", "data", "Profiles")]
knows = {room: set() for room in rooms}
for room in rooms:
    for f in (service / room).rglob("*.cs"):
        knows[room] |= {other for other in re.findall(r"\bIrrigationFhir\.(\w+)", f.read_text("utf-8-sig")) if other in rooms and other != room}
pairs = {frozenset((a, b)) for a in rooms for b in knows[a] if a in knows[b]}

def reached(start):
    seen, todo = set(), list(knows[start])
    while todo:
        room = todo.pop()
        if room not in seen:
            seen.add(room)
            todo += knows[room]
    return seen

print(f"rooms: {len(rooms)}, arrows {sum(map(len, knows.values()))}, rooms that know one another {len(pairs)}, rooms in a circle {sum(r in reached(r) for r in rooms)}")
P
