"""Sentences that rooms below write in English, as patterns: the report says them in the reader's language.

Tables keep the English sentences, which programs may rely on. A pattern's `{fields}` stand for what changes: numbers,
names, or words that are themselves said in the other language. `tests/words/test_phrases.py` holds that the rooms'
sentences fit.
"""

from __future__ import annotations

# canopy.readiness: reasons of cells, the score's line
_READINESS = (
    "damage: {share} yellow or brown, limit {limit}",
    "too young: {days} days after sowing, minimum {least}",
    "too small: {area} mm², minimum {least} mm²",
    "too old: {days} days after sowing, last day {last}",
    "colour, and so damage, could not be judged: look at the plants first",
    "{names} measured by hand also count: see `canopy ready`",
    "no score: {missing}",
    "{names} missing",
    "age missing, no sowing date or no photo date",
    "size missing",
    "cover missing",
    "colour could not be judged",
    "damage could not be judged",
    "{name} withheld, its weight shared out",
    "{names} withheld, their weight shared out",
    "score {score} below {bound}, held back by {name}",
    "{name} is past its target and waiting will not mend that",
    "range {low} to {high} crosses {bound}",
    "range {low} to {high} crosses {bound}, too wide to decide",
    "may be empty: {area} mm² ({low} to {high}), little and doubtful beside the others",
    "waiting time after {product} applied {day}: {left}, not before {free}; follow the product label",
    "days left unknown (photo without date)",
    "1 day left",
    "{n} days left",
    "no plant, no score",
    "size",
    "age",
    "health",
    "colour",
    "cover",
    "unknown",
    "{score} = 100 · {terms}",
    "{line} — held back by {name}",
    "{name} {desirability}^{weight}",
)
# canopy.measure: reasons of cells
_CELLS = (
    "the photo does not show the whole cell",
    "no canopy seen",
    "only {area} mm² of canopy seen, a plant has at least {least} mm²",
    "canopy seen only outside the cell",
    "plant looks dead: {share} % of it is brown",
    "covered: something lies over {share} % of the cell",
    "planted",
    "good",
    "doubtful",
)
# canopy.measure: patterns across a tray
_PATTERNS = (
    "no pattern",
    "too few plants to tell",
    "row {name} weak",
    "row {name} strong",
    "rows {names} weak",
    "rows {names} strong",
    "column {name} weak",
    "column {name} strong",
    "columns {names} weak",
    "columns {names} strong",
    "edge weak",
    "edge strong",
    "gradient towards row {name}",
    "gradient towards column {name}",
    "gradient towards corner {name}",
    "late germination in patches",
    "late germination here and there",
    "patches",
)

NUMBERS = frozenset({"desirability", "weight"})
"""Fields that hold nothing but a number."""

# canopy.photo, canopy.measure, canopy.analyse: remarks on a photo
_REMARKS = (
    "nine tenths of the picture are darker than code {code} of 255; give more light",
    "green is at most {ratio} of red + blue (white light: 0.50); colour is not judged",
    "grey looks coloured (chroma {chroma}, at most {most}); colours are doubtful",
    "{share} % of the picture is over- or underexposed (at most {most} %)",
    "{share} % of the plants is over- or underexposed (at most {most} %)",
    "lamps are mirrored on {share} % of the tray (at most {most} %)",
    "{share} % of the tray is in the photo; cells outside it are left out",
    "camera tilted by {tilt}° (good up to {most}°); tall plants hide others",
    "plants are hard to tell from what is round them (doubt {share} of the canopy)",
    "card {card} shows fewer than six good patches; lay it flat, unshaded, at the place you gave",
    "colours corrected: {figures}",
    "colours are doubtful: {figures}; clean or renew the card",
    "card of {n} patches, {kind} fit, CIEDE2000 median {median}, worst {worst}, left out {left}",
    "linear",
    "root-polynomial",
    "white looks coloured: one channel needs {times} times another's gain (at most {most}); colours are doubtful",
    "light differs by ±{share} % over the tray; colours are evened, areas not",
    "one pixel covers {mm} mm; small plants cover few pixels",
    "network and colour classifier agree to {share} only (Dice); look at the outlines",
    "the photo does not say when it was taken; the file's date is used",
    "the photo does not say when it was taken; the age of the plants is unknown",
    "something lies over {n} cells ({cells}); lift it, take it again",
    "layout {name} was chosen among {n} (its cells are alike to {share}; next best is {other} with {next})",
    "layout {name} was chosen among {n} (its cells are alike to {share}; no other fits)",
)
# Messages of photos set aside; each begins with the photo's name
_UNREADABLE = (
    "{photo}: file is empty; copy the photo again from the camera",
    "{photo}: cannot be opened ({why}); check the file and its rights",
    "{photo}: JPEG header is damaged at byte {n}; copy the photo again",
    "{photo}: JPEG ends after {n} bytes, before its picture; copy it again",
    "{photo}: JPEG has no end marker, rows are missing; copy the photo again",
    "{photo}: this kind of JPEG cannot be decoded; save it as PNG",
    "{photo}: CMYK cannot be decoded ({why}); save it as RGB",
    "{photo}: not a picture; save it as JPEG, PNG, TIFF, WebP or HEIC, or remove it",
    "{photo}: {width} × {height} pixels, fewer than {least} on a side; send the original photo",
    "{photo}: claims {claim}, over {most} megapixels; save the photo smaller",
    "{photo}: picture is cut short or damaged ({why}); copy the photo again",
    "{photo}: an animation, not a photo; save one frame as JPEG or PNG",
    "{photo}: pixels of kind {kind} are no photo's; save it with 8 or 16 bits per channel",
    "{photo}: is the same file as {other}; measured once",
    "{photo}: is the same file as {other}, listed as tray {tray}; measured once",
    "{photo}: is a copy of {other} in other size or quality; measured once",
    "{photo}: folder without photos",
    "{photo}: named in {list}, line {line}, but not there",
    "{photo}: fits no line of {list}; add a line for it",
    "{photo}: lines {lines} of {list} both fit and differ; name the photo in one of them",
)
_UNSUITABLE = (
    "{photo}: edges are smeared by {worst} mm one way, {best} mm the other (at most {most}); rest the camera, give "
    "more light or a shorter exposure",
    "{photo}: edges are blurred by {worst} mm (at most {most}); hold still, focus, take it again",
    "{photo}: one pixel covers {mm} mm (at most {most} for stage {stage}); go nearer, or photograph with more pixels",
    "{photo}: only {share} % of the tray is in the photo (at least {least} %); step back and take it again",
    "{photo}: plants cannot be told from what is round them (doubt {share} of the canopy, at most {most}); give more "
    "and whiter light, go nearer, clear the ground",
    "{tray}: `sown_on` {sown} lies after the photo ({day}); correct `sown_on` or the camera's date",
    "{photo}: found none of the 4 corner markers; free them, or give `corners` in the tray list",
    "{photo}: found {n} of 4 corner markers (id {ids}), 3 are needed; free the hidden corners or give `corners` in the "
    "tray list",
    "{photo}: without markers, no outline of the shape of layout {layout} is seen; show the whole tray, or give "
    "`corners` in the tray list",
    "{photo}: no layout is named and none of {n} known ones fits what is seen; name `layout`, or show the whole tray",
    "{photo}: no layout is named, and {one} and {other} fit equally well; name one in `layout`",
    "{photo}: saved view {view} does not hold: {wrong}; inspect the corners, then put camera and tray back or save the "
    "view anew",
    "the camera moved, the corners by about {share} of the width",
    "too little of what stands around is found again",
)

PHRASES: tuple[str, ...] = (
    *_READINESS,
    *_CELLS,
    *_PATTERNS,
    *_REMARKS,
    *_UNREADABLE,
    *_UNSUITABLE,
    # joints between sentences and words
    "; ",
    " · ",
    " and ",
    ", ",
)
