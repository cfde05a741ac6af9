"""Orders of the Springfield office: waiting, to be booked, the patio in danger, and done ones."""

from dispatch.demo.orders import (
    CLEAR,
    FAST,
    ONE_DAY,
    TWO_DAY,
    WINTER,
    Done,
    Order,
    basement,
    carport,
    garage,
    patio,
    pool_deck,
    porch,
    with_apron,
)

WEST, SOUTHWEST, CHATHAM, ROCHESTER = "62704", "62711", "62629", "62563"

# Booked on a mild forecast for a day that then turns wet: the first of these that has a day.
# In high summer an open slab is too hot for any, and the roofed one takes its place.
IN_DANGER = (
    Order(
        "Delphine Marchetti",
        "18 Sundial Walk",
        WEST,
        ONE_DAY,
        (patio(450, crack_ft=12),),
        9,
        wish="prefers",
        color="Sandstone blend",
        notes="Garden party planned for the week after.",
    ),
    Order(
        "Delphine Marchetti",
        "18 Sundial Walk",
        WEST,
        ONE_DAY,
        (porch(240, steps=2),),
        9,
        wish="prefers",
        color="Sandstone blend",
        notes="The patio has to wait for cooler days.",
    ),
)

TO_BOOK = (
    Order("Rupert Okonjo", "227 Millrace Road", WEST, ONE_DAY, (garage(440, crack_ft=20),), 21),
    Order(
        "Nadia Brightwater",
        "9 Larkfield Court",
        CHATHAM,
        ONE_DAY,
        (garage(780, spalls=3),),
        19,
        only_way_in=True,
    ),
    Order(
        "Gus and Leonie Tarver",
        "61 Cooper's Bend",
        SOUTHWEST,
        ONE_DAY,
        (garage(820, crack_ft=15),),
        18,
        car_in=(7, 8),
    ),
    Order("Ayodele Winters", "14 Pennant Lane", ROCHESTER, TWO_DAY, (basement(720),), 17),
    Order(
        "Cornelia Baptiste",
        "305 Old Orchard Pike",
        WEST,
        ONE_DAY,
        (garage(400, stem_ft=12),),
        16,
        not_in=(2, 3),
    ),
    Order("Mikkel Strand", "88 Gristmill Road", SOUTHWEST, FAST, (garage(480),), 15),
    Order("Yolanda Prewitt", "2 Kestrel Close", CHATHAM, ONE_DAY, (porch(210, steps=3),), 14),
    Order(
        "Harlan Dube",
        "173 Saddler Street",
        WEST,
        WINTER,
        (garage(450, condition="sealer"),),
        13,
        wish="prefers",
        wish_in=6,
    ),
)

# Held while the customer asks at home.
TO_HOLD = Order(
    "Simone Vandermeer", "50 Weathervane Drive", ROCHESTER, ONE_DAY, (garage(560, crack_ft=30),), 6
)

WAITING = (
    Order("Bartholomew Ying", "12 Copperleaf Court", WEST, ONE_DAY, (patio(260),), 12),
    Order(
        "Philippa Asante",
        "740 Quarry Hill Road",
        CHATHAM,
        ONE_DAY,
        (pool_deck(380, edge_ft=140),),
        12,
        wish="prefers",
        wish_in=10,
        notes="The pool is covered; no water until spring.",
    ),
    Order(
        "Ezra Holloway", "33 Plumb Line", SOUTHWEST, ONE_DAY, (with_apron(470, crack_ft=18),), 11
    ),
    Order(
        "Ramona Castellan",
        "6 Dovecote Lane",
        ROCHESTER,
        TWO_DAY,
        (basement(900, spalls=4),),
        11,
        not_in=(1, 2, 5),
        power="240 V by the furnace only",
    ),
    Order("Jasper Nwosu", "419 Bellows Street", WEST, ONE_DAY, (carport(330),), 10, soon=True),
    Order(
        "Theodora Lindgren",
        "25 Tumblewheel Road",
        WEST,
        ONE_DAY,
        (garage(430), porch(120, steps=2)),
        10,
        wish="fixed",
        wish_in=12,
    ),
    Order(
        "Ansel Whitcombe",
        "90 Ropewalk",
        SOUTHWEST,
        ONE_DAY,
        (garage(650, condition="thick"),),
        9,
        color="Slate blend",
    ),
    Order("Bettina Ruiz-Kane", "3 Lantern Row", CHATHAM, CLEAR, (basement(540),), 9),
    Order(
        "Osric Pell",
        "151 Foundry Lane",
        WEST,
        ONE_DAY,
        (garage(410),),
        8,
        car_in=(9, 7),
        notes="Leaves on a trip that morning.",
    ),
    Order("Lavinia Cho", "8 Haywain Court", ROCHESTER, ONE_DAY, (patio(180, crack_ft=8),), 8),
    Order("Marcus Eberhardt", "77 Stonecrop Way", SOUTHWEST, FAST, (garage(900),), 8),
    Order(
        "Imogen Faraday",
        "214 Thresher Road",
        CHATHAM,
        ONE_DAY,
        (with_apron(500),),
        7,
        wish="prefers",
        wish_in=8,
        only_way_in=True,
    ),
    Order("Dmitri Calloway", "59 Barrel Street", WEST, WINTER, (garage(380),), 7),
    Order(
        "Henrietta Moss",
        "1 Sluicegate",
        ROCHESTER,
        ONE_DAY,
        (pool_deck(520, edge_ft=210),),
        6,
        wish="fixed",
        wish_in=15,
    ),
    Order("Cyrus Abernathy", "36 Spindle Lane", WEST, ONE_DAY, (garage(460, steps=2),), 6),
    Order(
        "Fiona Delacroix",
        "402 Harrow Road",
        SOUTHWEST,
        TWO_DAY,
        (garage(480, crack_ft=60),),
        5,
        not_in=(3, 4),
        car_in=(14, 17),
    ),
    Order("Winston Agarwal", "19 Bobbin Street", WEST, ONE_DAY, (porch(160),), 5, soon=True),
    Order("Keziah Thornbury", "66 Winnow Lane", CHATHAM, ONE_DAY, (carport(420, crack_ft=10),), 4),
    Order("Leopold Sanz", "280 Cartwright Pike", ROCHESTER, ONE_DAY, (garage(540),), 3),
    Order(
        "Priscilla Vang",
        "11 Shingle Court",
        WEST,
        ONE_DAY,
        (patio(420, steps=4),),
        2,
        wish="prefers",
        wish_in=7,
        not_in=(8,),
    ),
    Order("Roscoe Dillinger", "95 Auger Road", SOUTHWEST, ONE_DAY, (garage(440),), 1),
    Order(
        "Anneliese Korver", "7 Bramble Turn", WEST, FAST, (basement(610, condition="sealer"),), 1
    ),
)

DONE = (
    Done(Order("Clement Udo", "54 Anvil Street", WEST, ONE_DAY, (garage(430),), 40), 0, 9),
    Done(Order("Tamsin Greer", "132 Furrow Lane", CHATHAM, ONE_DAY, (garage(480),), 38), 1, 9, 20),
    Done(Order("Bruno Keita", "16 Rivet Court", SOUTHWEST, ONE_DAY, (garage(400),), 37), 2, 8),
    Done(Order("Odette Fairley", "210 Scythe Road", WEST, ONE_DAY, (patio(240),), 36), 0, 7, 15),
    Done(Order("Isaac Montrose", "5 Cobbler's Row", ROCHESTER, ONE_DAY, (garage(520),), 34), 1, 6),
    Done(Order("Perpetua Lane", "71 Whetstone Way", WEST, ONE_DAY, (porch(190),), 33), 2, 6, 30),
    Done(Order("Alaric Jimenez", "29 Granary Close", CHATHAM, FAST, (garage(620),), 31), 0, 4),
    Done(Order("Sunniva Hart", "340 Linseed Road", SOUTHWEST, ONE_DAY, (garage(450),), 30), 1, 3),
    Done(Order("Thaddeus Boyle", "83 Mortar Lane", WEST, ONE_DAY, (carport(360),), 28), 2, 2, 10),
    Done(Order("Josephine Adler", "12 Sawpit Lane", ROCHESTER, ONE_DAY, (garage(410),), 27), 0, 1),
    Done(Order("Vernon Szabo", "47 Dibble Street", WEST, ONE_DAY, (garage(440),), 26), 1, 1, 25),
)
