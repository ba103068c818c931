"""Names for invented people. Family names were made up for this list; nobody real is meant.

Each group goes together: women's and men's given names, family names. A group with `language` "es" answers in Spanish.
"""

from dataclasses import dataclass


@dataclass(frozen=True)
class Names:
    language: str
    women: tuple[str, ...]
    men: tuple[str, ...]
    family: tuple[str, ...]


def _names(language: str, women: str, men: str, family: str) -> Names:
    return Names(language, tuple(women.split()), tuple(men.split()), tuple(family.split()))


GROUPS = (
    _names(
        "en",
        "Aurelia Beatrix Cordelia Dorothea Hester Imogen Lavinia Marigold Prudence Rosamund",
        "Ambrose Barnaby Crispin Desmond Ephraim Gilbert Jasper Lionel Quentin Tobias",
        "Fennwick Marlquist Thornapple Brackenby Dunmallow Hollowell-Ash Pennyreed Quillhurst Wexmoor Larkenfield Oakhamble",
    ),
    _names(
        "en",
        "Astrid Freydis Gudrun Inge Solveig Sunniva Torunn Ylva",
        "Anders Birger Eskil Halvard Ivar Sigurd Torkel Vidar",
        "Sandvoort Fjellmark Havnesund Lindqvarn Nordskau Osterbrenn Skarholt Tindemo Vinterhavn",
    ),
    _names(
        "en",
        "Adaeze Binta Efua Kemi Nneka Sade Wanjiku Zawadi",
        "Bram Chidi Ekow Jabari Kofi Lamin Sefu Tunde",
        "Okaforde Adeyonle Banjokwe Diallomi Mensahene Nwosande Oyelumo Sowetola",
    ),
    _names(
        "en",
        "Anjali Devika Gauri Lalita Meenakshi Padma Shirin Yasmeen",
        "Arjun Bhaskar Farrokh Harish Kiran Navin Omid Rustam",
        "Bhandaveri Chandrapur Dastanvar Iravanesh Kolavati Mirzapour Rajanthi Suryadeva",
    ),
    _names(
        "en",
        "Danuta Halina Jadwiga Ludmila Milena Oksana Vesna Zdenka",
        "Bogdan Dragan Kazimir Ladislav Miroslav Radek Stanimir Zoltan",
        "Brzezowik Dvorkova Horvatin Jelavska Krasnodol Malinowicz Petrovany Zelenkova",
    ),
    _names(
        "en",
        "Akiko Haruko Lan Mei Sumiko Thuy Xiulan Yoon",
        "Bao Daichi Hiroshi Jun Kenta Minh Shen Takeo",
        "Asanokura Hoshigawara Linhvan Mizushiro Parkwon Shenglu Tanemori Wangpei",
    ),
    _names(
        "en",
        "Annelie Brigitta Clothilde Elsbeth Fiorella Gretel Lotte Odile",
        "Benedikt Corrado Florian Hendrik Jochen Matteo Pascal Ruben",
        "Abendloh Brunnwasser Castelvero Dubrisson Feldkamm Grauwiler Montclairon Steinbruckner Vandermoel",
    ),
    _names(
        "es",
        "Consuelo Encarnación Esperanza Graciela Inmaculada Lourdes Milagros Pilar Remedios Soledad",
        "Anselmo Baldomero Evaristo Fermín Hipólito Isidro Leandro Nicanor Saturnino Wenceslao",
        "Alvarenda Barriolindo Cortezana Fuentaldea Hinojales-Mar Lagunarejo Montejuelo Olivareda Peñablanda Riberaldo Solvera",
    ),
)
