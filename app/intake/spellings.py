"""How shops head the columns of their lists, and the words they use for colours and pitches.

A heading fits a spelling whatever its case, blanks, underscores, points, brackets and dashes: “Due Date”,
`due_date` and “due-date” are one. Every column's own name fits without being listed.
"""

from __future__ import annotations

from collections.abc import Mapping

Spellings = Mapping[str, tuple[str, ...]]

OF_JOBS: Spellings = {
    "job": ("job number", "job no", "job id", "order", "order number", "order no", "ticket", "docket"),
    "version": ("versions", "sku", "item", "item number", "design", "variant"),
    "quantity": ("qty", "amount", "labels", "pieces", "pcs", "number of labels", "order quantity"),
    "substrate": ("material", "stock", "stock code", "media", "facestock", "label stock", "substrate code"),
    "die": ("die number", "die no", "die id", "tool", "tool number", "cutting die"),
    "colours": ("colors", "colour", "color", "inks", "channels", "colour set", "color set"),
    "finishes": ("finish", "finishing", "embellishments", "embellishment", "layers"),
    "due": ("due date", "due time", "due at", "ship date", "ship", "ships", "delivery date", "deadline"),
    "customer": ("client", "customer name", "account", "sold to"),
    "ready": ("ready at", "ready date", "ready time", "ready from"),
    "overs_pct": ("overs", "overs %", "overs percent", "overrun", "overrun %"),
    "max_quantity": ("max qty", "maximum", "maximum quantity", "max"),
    "full_reels": ("full reels only", "full rolls", "whole reels"),
    "labels_per_reel": ("labels per roll", "per reel", "per roll", "reel quantity", "qty per roll"),
    "core_mm": ("core", "core size", "core diameter", "core diameter mm"),
    "roll_width_mm": ("roll width", "web width", "web width mm", "stock width", "material width"),
    "late_eur": ("late cost", "late fee", "penalty"),
    "late_eur_per_h": ("late cost per hour", "late per hour", "penalty per hour"),
    "least_lot": ("least lot size", "smallest lot", "minimum lot", "minimum lot size", "min lot"),
    "may_join": ("join", "may run as one", "can join", "combine", "may combine"),
    "splice_rule": ("splices", "splicing", "splices allowed", "where splices"),
    "most_splices_a_reel": ("most splices", "max splices", "splices per reel", "splices per roll"),
    "largest_reel_mm": ("largest reel", "max reel diameter", "max roll diameter", "max diameter", "max od"),
    "winding": ("wound", "winding direction", "unwind direction", "wind direction", "wind position"),
}

OF_DIES: Spellings = {
    "number": ("die", "die number", "die no", "die id", "id", "no", "tool", "tool number"),
    "teeth": ("tooth count", "number of teeth", "t", "z"),
    "repeat_mm": ("repeat", "repeat length", "circumference", "circumference mm"),
    "pitch": ("gear pitch", "gear", "pitch type"),
    "across": ("lanes", "labels across", "no across", "number across", "up across"),
    "around": ("labels around", "no around", "number around", "up around"),
    "label_width_mm": ("label width", "width", "width mm", "width across", "size across"),
    "label_height_mm": ("label height", "height", "height mm", "label length", "length", "size around"),
    "gap_across_mm": ("gap across", "gap", "gap mm", "lateral gap", "column gap"),
    "gap_around_mm": ("gap around", "row gap", "radial gap"),
    "cylinder": ("magnetic cylinder", "mag cylinder", "cylinder number", "cylinder id"),
    "print_cylinder": ("plate cylinder", "print cylinder number"),
    "copies": ("count", "pieces", "number of copies"),
    "min_liner_um": ("min liner", "liner from", "thinnest liner"),
    "max_liner_um": ("max liner", "liner to", "thickest liner"),
}

OF_STOCK: Spellings = {
    "code": ("substrate", "stock", "stock code", "material code", "item", "item number", "article"),
    "width_mm": ("width", "roll width", "web width"),
    "metres": ("meters", "metre", "m", "length", "length m", "on hand", "on hand m", "running metres"),
    "roll": ("roll number", "roll no", "roll id", "reel number"),
    "name": ("description", "stock name", "material name"),
    "material": ("material class", "face material", "type", "kind"),
    "thickness_um": ("thickness", "caliper", "caliper um", "thickness micron", "micron"),
    "liner_thickness_um": ("liner", "liner thickness", "liner um"),
    "eur_per_m2": ("price", "price per m2", "cost per m2", "eur m2", "€/m2", "€/m²"),
    "usual_roll_m": ("roll length", "usual roll", "roll m", "standard roll"),
    "print_settings": ("settings", "profile", "print profile"),
    "delivery_at": ("delivery", "delivery date", "arrives", "arrival", "expected", "due in"),
    "delivery_m": ("delivery metres", "delivery meters", "on order", "on order m", "incoming m"),
    "received": ("received at", "date received", "receipt", "receipt date", "goods in"),
    "best_before": ("best before date", "expires", "expiry", "expiry date", "use by"),
    "location": ("bin", "rack", "shelf", "storage", "storage location"),
    "defects": ("defect", "flaws", "flaw", "faults", "flagged"),
    "reserved_for": ("reserved", "reserved job", "allocated to"),
    "on_unwind": ("unwind", "mounted on", "mounted", "on line"),
}

OF_CONSUMABLES: Spellings = {
    "name": ("id", "consumable", "consumable name", "consumable id", "ink", "ink name"),
    "darkness": ("dark", "ink darkness", "how dark"),
    "plate": ("printing plate", "flexo plate", "needs plate", "needs a plate", "from a plate"),
    "anilox": ("anilox roll", "anilox roller", "anilox number", "anilox no", "anilox id"),
    "max_speed_m_min": ("max speed", "maximum speed", "max speed m/min", "speed limit", "top speed"),
    "reel_m": ("reel", "reel length", "reel length m", "roll length", "roll length m", "roll m"),
}

COLOUR_WORDS: Mapping[str, str] = {
    "4c": "CMYK",
    "4-colour": "CMYK",
    "4 colour": "CMYK",
    "4-color": "CMYK",
    "4 color": "CMYK",
    "process": "CMYK",
    "cyan": "C",
    "magenta": "M",
    "yellow": "Y",
    "black": "K",
    "orange": "O",
    "violet": "V",
    "green": "G",
    "white": "W",
    "none": "",
}

FLAW_WORDS: Mapping[str, str] = {
    "defect": "defect",
    "flaw": "defect",
    "fault": "defect",
    "damage": "defect",
    "splice": "splice",
    "join": "splice",
    "joint": "splice",
}

SPLICE_WORDS: Mapping[str, str] = {
    "anywhere": "anywhere",
    "yes": "anywhere",
    "allowed": "anywhere",
    "between versions": "between versions",
    "between": "between versions",
    "never": "never",
    "no": "never",
    "none": "never",
    "not allowed": "never",
}

WINDING_WORDS: Mapping[str, str] = {
    "out": "out",
    "outwards": "out",
    "outside": "out",
    "in": "in",
    "inwards": "in",
    "inside": "in",
    "head": "head",
    "top": "head",
    "foot": "foot",
    "bottom": "foot",
    "left": "left",
    "right": "right",
}

PITCH_WORDS: Mapping[str, str] = {
    "1/8": "1/8 in",
    '1/8"': "1/8 in",
    "1/8 inch": "1/8 in",
    "1/8in": "1/8 in",
    "1/8 cp": "1/8 in",
    "1/4": "1/4 in",
    '1/4"': "1/4 in",
    "1/4 inch": "1/4 in",
    "1/4in": "1/4 in",
    "1/4 cp": "1/4 in",
}
