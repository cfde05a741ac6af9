"""Orders of the Columbus office: waiting, to be booked, and done ones."""

from dispatch.demo.orders import (
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

NORTH, DUBLIN, GAHANNA, EAST = "43214", "43017", "43230", "43209"

TO_BOOK = (
    Order("Evander Stokes", "31 Chisel Row", NORTH, ONE_DAY, (garage(420, crack_ft=10),), 20),
    Order(
        "Marisol Beckham", "118 Treadle Lane", GAHANNA, ONE_DAY, (garage(800),), 18, car_in=(8, 18)
    ),
    Order("Quentin Abara", "9 Hearthstone Court", DUBLIN, TWO_DAY, (garage(560),), 16),
    Order("Lucinda Forrest", "242 Sorrel Street", EAST, ONE_DAY, (patio(230),), 15),
)

WAITING = (
    Order(
        "Dorian Halvorsen",
        "66 Pestle Road",
        NORTH,
        ONE_DAY,
        (garage(460, stem_ft=20),),
        14,
        not_in=(1,),
    ),
    Order("Agatha Mbeki", "14 Bellwether Lane", NORTH, ONE_DAY, (patio(310, crack_ft=14),), 13),
    Order(
        "Constance Pruett",
        "508 Fuller Road",
        DUBLIN,
        ONE_DAY,
        (pool_deck(440, edge_ft=160),),
        12,
        wish="prefers",
        wish_in=9,
    ),
    Order("Reuben Salazar", "27 Awl Street", EAST, ONE_DAY, (with_apron(430),), 11),
    Order(
        "Beatrix Omondi",
        "3 Millwright Close",
        GAHANNA,
        TWO_DAY,
        (basement(820),),
        10,
        not_in=(2, 3, 4),
    ),
    Order("Silvester Crane", "91 Distaff Lane", NORTH, ONE_DAY, (carport(350),), 10),
    Order(
        "Ottilie Warwick",
        "60 Gable Street",
        DUBLIN,
        ONE_DAY,
        (garage(580, spalls=6),),
        9,
        wish="fixed",
        wish_in=11,
        only_way_in=True,
    ),
    Order("Nehemiah Porter", "17 Adze Court", EAST, FAST, (garage(760, condition="sealer"),), 8),
    Order(
        "Clementine Rao", "134 Kiln Road", GAHANNA, ONE_DAY, (porch(150, steps=4),), 8, soon=True
    ),
    Order(
        "Gideon Marsh",
        "22 Lathe Lane",
        NORTH,
        WINTER,
        (garage(410),),
        7,
        car_in=(10, 12),
    ),
    Order("Hyacinth Boateng", "8 Cinder Path", DUBLIN, ONE_DAY, (patio(200), porch(110)), 6),
    Order(
        "Lysander Quigley",
        "77 Tannery Row",
        EAST,
        ONE_DAY,
        (garage(450, crack_ft=25),),
        6,
        wish="prefers",
        wish_in=5,
    ),
    Order("Rosamund Ives", "5 Currier Street", GAHANNA, ONE_DAY, (garage(520, steps=1),), 5),
    Order(
        "Ambrose Tanaka",
        "310 Wainscot Road",
        NORTH,
        ONE_DAY,
        (basement(480),),
        4,
        not_in=(6, 7),
        access="Bulkhead door at the back",
    ),
    Order("Verity Coleman", "41 Bodkin Lane", EAST, ONE_DAY, (carport(300, crack_ft=12),), 3),
    Order("Phineas Duarte", "19 Ferrule Court", DUBLIN, FAST, (garage(640),), 2),
    Order("Calliope Jensen", "102 Mallet Street", NORTH, ONE_DAY, (garage(400),), 1),
)

DONE = (
    Done(Order("Magnus Ellery", "28 Hod Lane", NORTH, ONE_DAY, (garage(440),), 35), 0, 8),
    Done(Order("Zelda Acheampong", "6 Tenon Row", EAST, ONE_DAY, (garage(470),), 33), 1, 7, 15),
    Done(Order("Horatio Beal", "93 Batten Road", GAHANNA, ONE_DAY, (porch(170),), 32), 0, 5),
    Done(Order("Ursula Mendes", "15 Gantry Street", DUBLIN, ONE_DAY, (garage(510),), 30), 1, 4, 35),
    Done(Order("Percival Stone", "220 Ledger Lane", NORTH, ONE_DAY, (patio(220),), 29), 0, 2),
    Done(Order("Winifred Osei", "48 Bevel Court", EAST, ONE_DAY, (garage(430),), 27), 0, 1, 5),
)
