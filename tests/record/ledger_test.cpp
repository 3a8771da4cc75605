// The ledger: what goes in comes out, once, however often it is sent.
#include <SQLiteCpp/SQLiteCpp.h>
#include <doctest/doctest.h>

#include <algorithm>
#include <filesystem>
#include <fstream>

#include "quantity/error.h"
#include "quantity/file.h"
#include "record/attempts.h"
#include "record/json.h"
#include "record/ledger_parts.h"

using namespace pinproof;
using namespace pinproof::record;

TEST_CASE("an attempt comes back byte for byte and is found by every field") {
  const Folder folder;
  const auto ledger = Ledger::open(folder.file("l.sqlite"));
  Header h = header("A17", "W48");
  const std::string id = ledger->begin(h, "{\"a\":1}");
  CHECK(id.size() == 26);
  Record told{h, {}};
  for (const Event& event : {Event(reading("A", 12.98)), Event(Skipped{{"x", "y", "z"}, "no air"}),
                             Event(Finished{findings::Ending::complete, ""})}) {
    ledger->append(id, event);
    told.events.push_back(event);
    // On the disk at once: another program sees it.
    CHECK(to_json(Ledger::open_existing(folder.file("l.sqlite"))->load(id)) == to_json(told));
  }
  LedgerQuery open;
  open.open_only = true;
  CHECK(ledger->find(open).size() == 1);
  Judged judged = accepted(12.98);
  judged.findings = {{"shorted-turns", "A"}, {"shorted-turns", "A"}};
  judged.figures.push_back(judged.figures.front());  // a name stands once
  ledger->close(id, "complete", judged);
  CHECK(ledger->find(open).empty());

  const auto with = [&](std::string LedgerQuery::*field, const char* value) {
    LedgerQuery search;
    search.*field = value;
    return ledger->find(search).size();
  };
  CHECK(with(&LedgerQuery::serial, "A17") == 1);
  CHECK(with(&LedgerQuery::serial, "A1") == 0);
  CHECK(with(&LedgerQuery::lot, "W48") == 1);
  CHECK(with(&LedgerQuery::verdict, "accept") == 1);
  CHECK(with(&LedgerQuery::verdict, "reject") == 0);
  CHECK(with(&LedgerQuery::finding, "shorted-turns") == 1);
  CHECK(with(&LedgerQuery::finding, "coil-open") == 0);
  CHECK(with(&LedgerQuery::from, "2026-11-02") == 1);
  CHECK(with(&LedgerQuery::from, "2026-11-03") == 0);
  CHECK(with(&LedgerQuery::to, "2026-11-02") == 1);
  CHECK(with(&LedgerQuery::to, "2026-11-01") == 0);
  CHECK(with(&LedgerQuery::id, id.substr(0, 20).c_str()) == 1);
  REQUIRE(ledger->figures(id).size() == 1);
  CHECK(ledger->figures(id)[0].value == 12.98);
  CHECK(ledger->profile_json(sha256_hex("{\"a\":1}")) == "{\"a\":1}");
  CHECK_THROWS_AS(ledger->append(id, Finished{}), Error);  // closed is closed
}

TEST_CASE("a ledger whose file is deleted or replaced in mid-run says so") {
  const Folder folder;
  const auto ledger = Ledger::open(folder.file("l.sqlite"));
  Header h = header("A17", "W48");
  const std::string id = ledger->begin(h, "{}");
  ledger->append(id, reading("A", 12.98));
  std::filesystem::rename(folder.file("l.sqlite"), folder.file("other.sqlite"));
  CHECK_THROWS_AS(ledger->append(id, reading("A", 12.98)), Error);
  std::ofstream(folder.file("l.sqlite")) << "";
  CHECK_THROWS_AS(ledger->append(id, reading("A", 12.98)), Error);
  std::filesystem::rename(folder.file("other.sqlite"), folder.file("l.sqlite"));
  ledger->append(id, reading("B", 12.98));
  CHECK(ledger->load(id).events.size() == 2);
}

TEST_CASE("an attempt that was cut off is gone on with where it stopped") {
  const Folder folder;
  std::string id;
  {
    const auto ledger = Ledger::open(folder.file("l.sqlite"));
    Header h = header("A17");
    id = ledger->begin(h, "{}");
    ledger->append(id, reading("A", 12.98));
  }
  const auto ledger = Ledger::open(folder.file("l.sqlite"));
  CHECK(ledger->resume(id).events.size() == 1);
  ledger->append(id, Resumed{"2026-11-02T08:20:00Z"});
  ledger->append(id, reading("B", 13.0));
  ledger->append(id, Finished{findings::Ending::complete, ""});
  ledger->close(id, "complete", accepted(12.98));
  CHECK(ledger->load(id).events.size() == 4);
  CHECK(ledger->verify().problems.empty());
  CHECK_THROWS_WITH_AS(ledger->resume(id), doctest::Contains("is closed"), Error);
}

TEST_CASE("judged again and decided otherwise: what was first stays") {
  const auto ledger = Ledger::open(":memory:");
  const std::string id = keep(*ledger, header("A17"), 12.98);
  Judged strict = accepted(12.98);
  const std::string hash = sha256_hex("{\"b\":2}");
  strict.verdict = "reject", strict.profile_hash = hash;
  ledger->keep_profile("ferry yard five-speed", "{\"b\":2}");
  ledger->judge_again(id, strict);
  ledger->override_verdict(id, {"hold", "Ines", "shows rust", ""});
  const Attempt a = ledger->attempt(id);
  CHECK(a.verdict == "reject");
  REQUIRE(a.overridden);
  CHECK(a.overridden->verdict == "hold");
  CHECK(a.overridden->by == "Ines");
  const auto all = ledger->judgements(id);
  REQUIRE(all.size() == 2);
  CHECK(all[0].verdict == "accept");
  CHECK(all[1].profile_hash == hash);
  CHECK(ledger->verify().problems.empty());
}

TEST_CASE("sent twice, it is there once; what is added later follows") {
  const auto bench = Ledger::open(":memory:"), office = Ledger::open(":memory:");
  const std::string first = keep(*bench, header("A1"), 12.9),
                    second = keep(*bench, header("A2"), 13);
  CHECK(bench->identity().size() == 26);
  CHECK(bench->identity() != office->identity());
  CHECK(bench->not_sent("office").size() == 2);
  for (int k = 0; k < 3; ++k) CHECK(office->receive({bench->parcel(first)}) == (k == 0));
  bench->mark_sent(first, bench->parcel(first).entries.size(), "office");
  CHECK(bench->not_sent("office") == std::vector{second});
  bench->override_verdict(first, {"hold", "Ines", "shows rust", ""});
  CHECK(bench->not_sent("office").size() == 2);
  CHECK(office->receive({bench->parcel(first), bench->parcel(second)}));
  CHECK(office->find({}).size() == 2);
  CHECK(office->attempt(first).overridden->by == "Ines");
  CHECK(to_json(office->load(first)) == to_json(bench->load(first)));
  CHECK(office->verify().problems.empty());

  // The same id with other readings is refused, and nothing of that transaction is kept.
  Parcel forged = bench->parcel(first);
  forged.bodies[0] = event_to_json(reading("A", 12.91));
  Parcel third = bench->parcel(keep(*bench, header("A3"), 13.1));
  CHECK_THROWS_WITH_AS(office->receive({third, forged}), doctest::Contains("other readings"),
                       Error);
  CHECK(office->find({}).size() == 2);
  CHECK(office->receive({third}));  // numbers of figure kinds survived the rollback
  CHECK(office->verify().problems.empty());
}

TEST_CASE("a record from a file holds a name once, as one that was kept at its bench") {
  Judged judged = accepted(12.98);
  judged.findings = {{"shorted-turns", "A"}, {"shorted-turns", "A"}};
  judged.figures.push_back(judged.figures.front());
  Record record{header("A17"), {reading("A", 12.98), Finished{findings::Ending::complete, ""}}};
  record.header.id = new_id();
  const auto ledger = Ledger::open(":memory:");
  CHECK(ledger->receive({parcel_of(record, "{}", "complete", judged)}));
  REQUIRE(ledger->figures(record.header.id).size() == 1);
  CHECK(ledger->verify().problems.empty());
  // What it hands on is the same.
  const auto office = Ledger::open(":memory:");
  CHECK(office->receive({ledger->parcel(record.header.id)}));
  CHECK(office->verify().problems.empty());
}

TEST_CASE("a share of a lot is taken by the place in it, however lots were written in turn") {
  const auto ledger = Ledger::open(":memory:");
  for (int k = 0; k < 21; ++k)
    for (const char* lot : {"W48", "W49", "W50"})
      keep(*ledger, header(lot + std::to_string(k), lot), 12 + 0.1 * k);
  for (const char* lot : {"W48", "W49", "W50"})
    for (const std::int64_t every : {1, 2, 3, 4}) {
      std::vector<std::int64_t> seen;
      ledger->scan_figures(lot, every, [&](const auto& s) { seen.push_back(s.attempt); });
      CHECK(seen.size() == std::size_t(21 / every));
      CHECK(std::is_sorted(seen.begin(), seen.end()));
    }
}

TEST_CASE("what is handed over late does not go before what is newer") {
  const auto bench = Ledger::open(":memory:"), office = Ledger::open(":memory:");
  const std::string id = keep(*bench, header("A1"), 12.9);
  office->receive({bench->parcel(id)});
  Parcel late = bench->parcel(id);
  // Both benches judged and decided; the one whose word comes last did so first.
  const auto entry = [](const char* name, const char* kind, const char* at,
                        const std::string& body) {
    return Parcel::LedgerEntry{name, kind, at, body};
  };
  Judged lenient = accepted(12.9), strict = accepted(12.9);
  strict.verdict = "reject", strict.figures.front().outcome = "fail";
  const auto add = [&](Parcel parcel, const Judged& judged, const char* decided, const char* name,
                       const char* at) {
    parcel.entries.push_back(
        entry((std::string(name) + "j").c_str(), "judged", at, judged_body(judged)));
    parcel.entries.push_back(entry((std::string(name) + "o").c_str(), "overridden", at,
                                   override_body({decided, name, "why", at})));
    parcel.figures = judged.figures;
    office->receive({parcel});
  };
  add(late, strict, "reject", "eve", "2030-01-02T00:00:02Z");
  CHECK(office->attempt(id).verdict == "reject");
  add(late, lenient, "accept", "bob", "2030-01-02T00:00:01Z");
  CHECK(office->attempt(id).verdict == "reject");
  CHECK(office->attempt(id).overridden->by == "eve");
  CHECK(office->figures(id).front().outcome == "fail");
  CHECK(office->judgements(id).back().verdict == "reject");
  CHECK(office->verify().problems.empty());
  add(late, lenient, "accept", "ann", "2030-01-02T00:00:03Z");
  CHECK(office->attempt(id).verdict == "accept");
  CHECK(office->attempt(id).overridden->by == "ann");
  CHECK(office->verify().problems.empty());
}

TEST_CASE("names may be anything") {
  const auto ledger = Ledger::open(":memory:");
  for (const std::string& name :
       {std::string("'; DROP TABLE attempts; --"), std::string("\"quoted\""), std::string("$1"),
        std::string("<b>bold</b>\r\n\t"), std::string("\xff\xfe not text"),
        std::string("\u202ertl"), std::string(1000, 'x')}) {
    const std::string id = keep(*ledger, header(name, name), 13);
    const Attempt a = ledger->attempt(id);
    if (name[0] != '\xff') CHECK(a.serial == name);
    LedgerQuery search;
    search.serial = a.serial;
    CHECK(ledger->find(search).size() == 1);
  }
  Header h = header(std::string(16385, 'x'));
  CHECK_THROWS_WITH_AS(ledger->begin(h, "{}"), doctest::Contains("at most 16384"), Error);
  CHECK(ledger->verify().problems.empty());
}

TEST_CASE("older ledgers are brought up to date, newer and other files refused") {
  const Folder folder;
  const std::string file = folder.file("l.sqlite");
  std::string id;
  {
    const auto ledger = Ledger::open(file);
    id = keep(*ledger, header("A17"), 12.98);
  }
  {  // as version 1 left it
    SQLite::Database db(file, SQLite::OPEN_READWRITE);
    db.exec("DROP TABLE findings; DROP TABLE figures; DROP TABLE figure_kinds");
    db.exec("UPDATE ledger SET value = '1' WHERE key = 'schema'");
  }
  {
    const auto ledger = Ledger::open(file);
    CHECK(ledger->attempt(id).verdict == "accept");
    CHECK(ledger->figures(id).empty());
    ledger->judge_again(id, accepted(12.98));
    CHECK(ledger->figures(id).size() == 1);
    CHECK(ledger->verify().problems.empty());
  }
  SQLite::Database(file, SQLite::OPEN_READWRITE)
      .exec("UPDATE ledger SET value = '99' WHERE key = 'schema'");
  CHECK_THROWS_WITH_AS(Ledger::open(file), doctest::Contains("newer program"), Error);
  SQLite::Database(folder.file("other"), SQLite::OPEN_READWRITE | SQLite::OPEN_CREATE)
      .exec("CREATE TABLE songs (name TEXT)");
  CHECK_THROWS_WITH_AS(Ledger::open(folder.file("other")), doctest::Contains("something else"),
                       Error);
  std::ofstream(folder.file("text")) << std::string(5000, 'n');
  CHECK_THROWS_AS(Ledger::open(folder.file("text")), Error);
  CHECK_THROWS_WITH_AS(Ledger::open_existing(folder.file("none")), doctest::Contains("no ledger"),
                       Error);
}

TEST_CASE("ids sort by time and are never the same") {
  std::string last = new_id();
  for (int k = 0; k < 1000; ++k) {
    const std::string next = new_id();
    CHECK(next != last);
    CHECK(next.substr(0, 10) >= last.substr(0, 10));
    last = next;
  }
  CHECK(id_of("a") == id_of("a"));
  CHECK(id_of("a") != id_of("b"));
  CHECK(id_of("a").size() == 26);
}

TEST_CASE("what a header may leave out is left out, and what it says comes back") {
  Header h = header("A17", "W48");
  h.bench_clamp_V = 0, h.bench_hash = "";
  const std::string before = header_to_json(h);
  CHECK(before.find("bench_clamp_V") == std::string::npos);
  CHECK(before.find("bench_hash") == std::string::npos);
  CHECK(header_to_json(header_from_json(before, "old.json")) == before);
  h.bench_clamp_V = 33, h.bench_hash = "ab";
  const Header back = header_from_json(header_to_json(h), "new.json");
  CHECK(back.bench_clamp_V == 33);
  CHECK(back.bench_hash == "ab");
}
