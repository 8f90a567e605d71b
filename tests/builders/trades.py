"""What the customers of a label shop order, trade by trade. All invented."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Trade:
    """What customers of a trade order.

    Each of `finishes` lists layers in laying order; `brand` stands for the customer's own ink.
    """

    substrates: tuple[str, ...]
    colours: tuple[str, ...]
    finishes: tuple[str, ...]
    versions: tuple[str, ...]
    quantity: tuple[int, int]
    labels_per_reel: tuple[int, ...]
    names: tuple[str, ...]


TRADES = (
    Trade(
        ("PAPER-WINE", "PAPER-WET"),
        ("CMYK",),
        (
            "inkjet cold-foil:foil-gold",
            "inkjet spot:brand cold-foil:foil-gold",
            "inkjet spot:brand cold-foil:foil-copper",
            "inkjet spot:brand varnish:varnish-tactile",
        ),
        ("Red", "White", "Rosé", "Reserve", "Late harvest", "Back label"),
        (1500, 7000),
        (1000, 1500),
        ("Quennelby Cellars", "Ilmbrack Brewing", "Ostelhove Spirits", "Farrowmere Estate"),
    ),
    Trade(
        ("PAPER-80", "PAPER-KRAFT"),
        ("CMYK", "CMYKOV"),
        (
            "inkjet varnish:varnish-gloss",
            "inkjet varnish:varnish-matt",
            "inkjet spot:brand varnish:varnish-gloss",
        ),
        ("Plum", "Apricot", "Cherry", "Honey", "Pear", "Quince"),
        (2000, 11000),
        (2000, 2500),
        ("Tarrowick Preserves", "Kettlemoss Tea", "Sundrake Juices", "Marsdenfeld Honey", "Harrowfen Dairy"),
    ),
    Trade(
        ("PP-W60", "PE-W85"),
        ("CMYKOV", "CMYK"),
        (
            "inkjet spot:brand varnish:varnish-gloss",
            "inkjet cold-foil:foil-silver",
            "inkjet laminate:laminate-soft",
            "inkjet varnish:varnish-matt",
        ),
        ("Day cream", "Night cream", "Shampoo", "Balm", "Hand soap", "Refill"),
        (2000, 9000),
        (2000, 4000),
        ("Fenwarrow Care", "Vellacote Cosmetics", "Brindlow Pet Care"),
    ),
    Trade(
        ("PP-C50", "PET-S50"),
        ("CMYKW", "CMYKOVW"),
        ("inkjet varnish:varnish-gloss", "inkjet varnish:varnish-matt", "inkjet laminate:laminate-gloss"),
        ("Lemon", "Mint", "Ginger", "Elder", "Cola", "Tonic"),
        (2500, 10000),
        (2000, 4000),
        ("Pellbrook Water", "Norrhollow Lemonades", "Skerrick Gin"),
    ),
    Trade(
        ("PAPER-80", "PAPER-TT", "PP-W60"),
        ("", "K"),
        (
            "spot:brand varnish:varnish-gloss",
            "spot:brand spot:dense-black",
            "spot:brand spot:dense-black varnish:varnish-gloss",
            "spot:brand",
        ),
        ("500 g", "1 kg", "2 kg", "5 kg", "Outer case", "Tray"),
        (5000, 22000),
        (4000, 5000),
        ("Grindlemoor Flour", "Wexcombe Cleaning", "Tolbeck Seeds", "Aldersyke Grains", "Cotterham Meats"),
    ),
    Trade(
        ("PP-W60", "PP-C50"),
        ("",),
        (
            "white:white-opaque spot:brand varnish:varnish-gloss",
            "white:white-opaque spot:brand",
            "spot:brand spot:dense-black laminate:laminate-gloss",
        ),
        ("Fabric", "Floor", "Glass", "Kitchen", "Bath", "Oven"),
        (5000, 20000),
        (4000, 5000),
        ("Hobbleworth Soap", "Larkshaw Chemicals", "Pinnerdale Home"),
    ),
)
BRAND_INKS = ("sun-yellow", "signal-red", "leaf-green", "deep-blue", "copper-brown")
