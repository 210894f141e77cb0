"""What German asks of its texts beyond being there: its quotes, "Sie", no promise about a machine."""

from __future__ import annotations

import re

from django.test import Client
from django.utils import translation

from tests.config.catalogues import as_read, texts
from tests.mills.log_shop import Shop
from wearlog.people.models import Mill, User
from wearlog.words.kinds import part_words


def test_quotes_are_the_german_pair() -> None:
    assert [german for _english, german in texts("de") if re.search("[”‘’«»]", as_read(german))] == []
    assert [german for _english, german in texts("de") if german.count("„") != german.count("“")] == []


def test_no_text_promises_that_a_machine_is_safe() -> None:
    # The words by which German would say so; the house has the rule that nobody's log can know it.
    promise = re.compile(
        r"\b(betriebs|unfall)?sicher\b|\b(gefahrlos|ungefährlich|harmlos|risikolos)"
        r"|\b(ohne|keine?) (gefahr|risik)"
    )
    # "zu 95 % sicher" is another word: how sure a statistic is.
    found = [
        german for _english, german in texts("de") if promise.search(german.lower().replace("%% sicher", ""))
    ]
    assert found == []


def test_the_signal_words_are_the_usual_german_ones() -> None:
    said = dict(texts("de"))
    assert [said[word] for word in ("DANGER", "WARNING", "CAUTION")] == ["GEFAHR", "WARNUNG", "VORSICHT"]


def test_the_reader_is_addressed_with_sie() -> None:
    familiar = re.compile(r"\b(du|dich|dir|dein\w*|euch|euer|eure\w*)\b")
    assert [german for _english, german in texts("de") if familiar.search(as_read(german).lower())] == []


def test_a_trade_word_is_never_said_by_its_false_friend() -> None:
    # One word for one thing, as docs/trade-words.md has them.
    others = re.compile(r"\b(Mundstück|Los|Partie|Hülse|Ölkuchen|Ölsatz|Frucht|Trommel)\b")
    assert [german for _english, german in texts("de") if others.search(german)] == []


def test_a_part_that_says_its_kind_in_german_is_not_named_twice() -> None:
    with translation.override("de"):
        assert part_words("belt", "P4 Riemen") == "P4 Riemen"
        assert part_words("die", "D5-04", "A") == "Düse D5-04, Kante A"


def test_meter_price_and_plan_are_written_with_a_comma_and_the_day_before_the_month(
    client: Client, owner: User, mill: Mill
) -> None:
    User.objects.filter(pk=owner.pk).update(language="de")
    client.force_login(owner)
    shop = Shop()
    shop.reading(shop.north, "3023.7")  # on 2 March 2026
    north = shop.north.pk
    client.post("/prices/new/", {"item": "oil_kg", "from_on": "2026-03-24", "price": "3,05"})
    client.post(
        "/plan/new/",
        {
            "press": north,
            "crop": shop.rape.pk,
            "start_on": "2031-03-02",
            "end_on": "2031-04-05",
            "seed_kg": "4000",
        },
    )
    for address, *expected in (
        ("/prices/", "Öl, je Kilogramm: 3,05 EUR", "ab 24. März 2026"),
        ("/plan/", "4,00 t", "2. März 2031 bis 5. April 2031"),
        (f"/log/reading/?press={north}", "Zuletzt: 3023,7 am 2. März 2026"),
        ("/log/", "Zähler bei 3023,7 h", "Montag, 2. März 2026"),
    ):
        shown = client.get(address).content.decode()
        assert [words for words in expected if words not in shown] == [], address
