// Commands called as functions, in one process: exit codes, what they print, and that nothing of
// one call is left for the next.
#include <fcntl.h>
#include <unistd.h>

#include <CLI/CLI.hpp>
#include <cstdio>
#include <fstream>
#include <iostream>
#include <nlohmann/json.hpp>
#include <set>
#include <sstream>
#include <string>
#include <utility>
#include <vector>

#include "app/program.h"
#include "paths.h"
#include "profile/load.h"
#include "quantity/document.h"
#include "record/attempts.h"
#include "simulated/server.h"

#define DOCTEST_CONFIG_IMPLEMENT
#include <doctest/doctest.h>

using namespace pinproof;

namespace {

using Words = std::vector<std::string>;

// What is written to a descriptor meanwhile goes to a file without a name instead.
class Redirected {
 public:
  explicit Redirected(int descriptor)
      : descriptor_(descriptor), kept_(::dup(descriptor)), file_(std::tmpfile()) {
    flush();
    ::dup2(::fileno(file_), descriptor_);
  }
  ~Redirected() {
    flush();
    ::dup2(kept_, descriptor_);
    ::close(kept_);
    std::fclose(file_);
  }
  Redirected(const Redirected&) = delete;
  Redirected& operator=(const Redirected&) = delete;

  std::string text() const {
    flush();
    std::string out(static_cast<std::size_t>(::lseek(::fileno(file_), 0, SEEK_END)), ' ');
    REQUIRE(::pread(::fileno(file_), out.data(), out.size(), 0) ==
            static_cast<ssize_t>(out.size()));
    return out;
  }

 private:
  static void flush() {
    std::cout.flush();
    std::cerr.flush();
    std::fflush(nullptr);
  }
  int descriptor_, kept_;
  std::FILE* file_;
};

struct Done {
  int code = -1;
  std::string out, err;
  bool operator==(const Done&) const = default;
};

doctest::String toString(const Done& done) {
  return ("exit " + std::to_string(done.code) + "\n" + done.out + done.err).c_str();
}

Done run(Words words) {
  words.insert(words.begin(), "pinproof");
  Done done;
  const Redirected out(STDOUT_FILENO), err(STDERR_FILENO);
  done.code = app::run_program(words);
  done.out = out.text();
  done.err = err.text();
  return done;
}

bool has(const std::string& text, const std::string& part) {
  return text.find(part) != std::string::npos;
}

std::string source(const std::string& path) { return tests::source_dir() + "/" + path; }

const std::string& six() {
  static const std::string path = source("profiles/six-speed-20-pin.json");
  return path;
}

// `plain` says the same before and after `loaded`, which has more options and says something else.
void leaves_nothing(const Words& plain, const Words& loaded) {
  CAPTURE(plain.front());
  const Done before = run(plain), between = run(loaded), after = run(plain);
  CHECK(after == before);
  CHECK_FALSE(between == before);
  CHECK(run(loaded) == between);
}

// A box of three packs in a ledger.
std::string ledger_in(const record::Folder& folder) {
  const std::string path = folder.file("ledger.sqlite");
  const auto ledger = record::Ledger::open(path);
  for (const char* serial : {"A1", "A2", "B1"})
    record::keep(*ledger, record::header(serial, serial[0] == 'A' ? "W47" : "W48"), 12.9);
  return path;
}

void write(const std::string& path, const std::string& text) {
  std::ofstream(path) << text;
  REQUIRE(std::ifstream(path).good());
}

// A crossed study of two parts, two operators and two repeats.
const char* const kStudy =
    "part,operator,repeat,value\nP1,x,1,10.1\nP1,x,2,10.2\nP1,y,1,10.3\nP1,y,2,10.1\n"
    "P2,x,1,12.1\nP2,x,2,12.0\nP2,y,1,12.4\nP2,y,2,12.2\n";

// All commands that are shown, those of commands too.
void collect(const CLI::App& app, const std::string& path,
             std::vector<std::pair<std::string, std::string>>& footers) {
  for (const CLI::App* sub : app.get_subcommands([](const CLI::App*) { return true; })) {
    if (sub->get_group().empty()) continue;
    const std::string here = path + " " + sub->get_name();
    footers.emplace_back(here, sub->get_footer());
    collect(*sub, here, footers);
  }
}

}  // namespace

TEST_CASE("sample") {
  const Done plan = run({"sample", "--lot-size", "100"});
  CHECK(plan.code == 0);
  CHECK(has(plan.out, "Test 13 parts of 100"));
  CHECK(plan.err == "");
  CHECK(run({"sample", "--lot-size", "1000", "--bad", "3"}).code == 1);
  CHECK(run({"sample", "--lot-size", "1000", "--history", "rrrrrrr"}).code == 2);
  CHECK(run({"sample", "--lot-size", "1000", "--bad", "81"}).code == 3);
  leaves_nothing({"sample", "--lot-size", "1000"},
                 {"sample", "--lot-size", "1000", "--level", "III", "--aql", "4", "--history",
                  "arar", "--bad", "2", "--json"});
}

TEST_CASE("profile") {
  const Done shown = run({"profile", six()});
  CHECK(shown.code == 0);
  CHECK(has(shown.out, "ground wire"));
  leaves_nothing({"profile", six()}, {"profile", six(), "--lint"});
  leaves_nothing({"profile", six()},
                 {"profile", source("examples/chart-nine-pin.json"), "--lint", "--json"});
  CHECK(run({"profile", "/nowhere.json"}).code == 3);
}

TEST_CASE("coil") {
  const std::string good = tests::data_dir() + "/spice/healthy_diode.csv",
                    bad = tests::data_dir() + "/spice/shorted_10pct.csv";
  const Done read = run({"coil", good});
  CHECK(read.code == 0);
  CHECK(has(read.out, "moved"));
  CHECK(run({"coil", bad, "--celsius", "20", "--known-good", good}).code == 1);
  // Each by itself: a temperature, a list of known-good captures and a profile would all be seen.
  leaves_nothing({"coil", bad}, {"coil", bad, "--celsius", "20", "--known-good", good});
  leaves_nothing({"coil", good},
                 {"coil", good, "--celsius", "23", "--profile", six(), "--part", "B", "--json"});
  leaves_nothing({"coil", good},
                 {"coil", good, "--celsius", "20", "--hot-celsius", "200", "--lowest-V", "6"});
  CHECK(run({"coil", good, "--part", "B"}).code == 3);
}

TEST_CASE("lever --observed") {
  const std::string observed = source("examples/observed-after-repair.json");
  const Words plain{"lever", "--profile", six(), "--observed", observed};
  const Done told = run(plain);
  CHECK(told.code == 1);
  CHECK(has(told.out, "it can drive off the wrong way"));
  leaves_nothing(plain, {"lever", "--profile", six(), "--observed", observed, "--json"});
  CHECK(run({"lever", "--profile", six()}).code == 3);  // no file is left over from before
}

TEST_CASE("diagnose --readings") {
  const std::string pulled = source("examples/readings-pulled-pack.json");
  const Words plain{"diagnose", "--profile", six(), "--readings", pulled};
  const Done told = run(plain);
  CHECK(told.code == 1);
  CHECK(has(told.out, "coil B has shorted turns"));
  leaves_nothing({"diagnose", "--profile", six()}, plain);
  leaves_nothing(plain, {"diagnose", "--profile", six(), "--readings", pulled, "--code", "P0871",
                         "P0988", "--thorough", "--celsius", "40", "--json"});
}

TEST_CASE("coverage") {
  const std::string nine = source("examples/chart-nine-pin.json");
  const Words plain{"coverage", "--profile", nine};
  CHECK(run(plain).code == 0);
  leaves_nothing(plain, {"coverage", "--profile", nine, "--meter-only", "--tolerance", "4",
                         "--noise-ohm", "0.2"});
}

TEST_CASE("gauge") {
  const record::Folder folder;
  const std::string study = folder.file("study.csv");
  write(study, kStudy);
  const Words plain{"gauge", "--study", study};
  CHECK(has(run(plain).out, "GOOD") == (run(plain).code == 0));
  leaves_nothing(plain, {"gauge", "--study", study, "--unit", "ohm", "--tolerance", "2.5",
                         "--uncertainty", "0.2", "--pool", "never"});
  CHECK(run({"gauge"}).code == 3);
}

TEST_CASE("records, lot and learn") {
  const record::Folder folder;
  const std::string ledger = ledger_in(folder);
  const Words all{"records", "find", "--ledger", ledger};
  const Done found = run(all);
  CHECK(found.code == 0);
  CHECK(has(found.out, "3 records."));
  leaves_nothing(all, {"records", "find", "--ledger", ledger, "--serial", "A1", "--json"});
  leaves_nothing(all, {"records", "find", "--ledger", ledger, "--lot", "W48", "--last", "1"});
  // Another deed of the same command, with no argument of the one before.
  const record::Attempt one = record::Ledger::open(ledger)->find({}).front();
  CHECK(run({"records", "label", "--ledger", ledger, one.id, "--size", "40x20"}).code == 0);
  CHECK(run({"records", "label", "--ledger", ledger}).code == 3);
  CHECK(has(run({"records", "verify", "--ledger", ledger}).out, "3 records"));
  CHECK(run({"records", "verify", "--ledger", ledger, "--head", "0123"}).code == 1);
  CHECK(run({"records", "verify", "--ledger", ledger}).code == 0);
  leaves_nothing({"lot", "W47", "--ledger", ledger},
                 {"lot", "W48", "--ledger", ledger, "--confidence", "0.8", "--all", "--json"});
  CHECK(run({"learn", "--profile", six(), "--ledger", ledger}).code == 3);
  leaves_nothing({"learn", "--profile", six(), "--ledger", ledger},
                 {"learn", "--profile", six(), "--ledger", ledger, "--good-lot", "W47"});
}

TEST_CASE("inspect on a simulated bench, then its record by report and lever") {
  const record::Folder folder;
  simulated::SimulationOptions wanted;
  wanted.profile = profile::load_profile(six());
  wanted.seed = 7;
  wanted.dialect_folder = source("drivers/dialects");
  simulated::SimulatedBench simulator(wanted);
  simulator.start();
  const std::string bench = folder.file("bench.json"), record = folder.file("r.json");
  write(bench, simulator.bench_file());
  const Done held = run({"inspect", "--profile", six(), "--bench", bench, "--ledger", "none",
                         "--serial", "S1", "--static", "--json", "--record", record});
  CHECK(held.code == 0);
  CHECK(nlohmann::json::parse(held.out).at("level") == "static");
  CHECK(nlohmann::json::parse(held.out).at("serial") == "S1");
  std::remove(record.c_str());
  // Neither --static nor --json, --serial or --record is left over.
  const Done full = run({"inspect", "--profile", six(), "--bench", bench, "--ledger", "none"});
  CHECK(full.code == 0);
  CHECK(has(full.out, "ACCEPT (level full)"));
  CHECK_FALSE(has(full.out, "S1"));
  CHECK_FALSE(std::ifstream(record).good());
  CHECK(run({"inspect", "--profile", six(), "--bench", bench, "--ledger", "none", "--static",
             "--record", record})
            .code == 0);
  leaves_nothing({"report", record, "--profile", six()},
                 {"report", record, "--profile", six(), "--verbose"});
  CHECK(run({"lever", "--profile", six(), "--observed", record}).code == 0);
  simulator.stop();
}

TEST_CASE("bench, screen and simulate: wrong use") {
  const Words nothing{"bench"};
  const Done told = run(nothing);
  CHECK(told.code == 3);
  CHECK(told.err ==
        "pinproof bench: --find, or --bench with --check, --live or --profile is "
        "wanted\n");
  leaves_nothing(nothing, {"bench", "--bench", "/nowhere.json"});
  leaves_nothing({"screen"}, {"screen", "--bench", "/nowhere.json"});
  leaves_nothing({"simulate"}, {"simulate", "--faults"});
  CHECK(run({"simulate", "--faults"}).code == 0);
}

TEST_CASE("the command line itself") {
  const Done help = run({"--help"});
  CHECK(help.code == 0);
  CHECK(has(help.out, "Usage: pinproof [OPTIONS] SUBCOMMAND"));
  CHECK_FALSE(has(help.out, "guardian"));
  CHECK(run({"--version"}).out.starts_with("pinproof 0."));
  CHECK(run({}).code == 3);
  const Done unknown = run({"sample", "--lot-size", "100", "--colour"});
  CHECK(unknown.code == 3);
  CHECK(unknown.out == "");
  CHECK(has(unknown.err, "--colour"));
  CHECK(run({"sample", "--lot-size", "100"}).code == 0);  // and goes on working
}

TEST_CASE("every command has an example of its own, and it is a command line") {
  app::Chosen chosen;
  std::vector<std::pair<std::string, std::string>> footers;
  collect(*app::command_tree(chosen), "pinproof", footers);
  CHECK(footers.size() > 20);
  std::set<std::string> seen;
  for (const auto& [path, footer] : footers) {
    CAPTURE(path);
    std::istringstream lines(footer);
    std::string line;
    REQUIRE(std::getline(lines, line));
    CHECK(line == "Example:");
    std::size_t examples = 0;
    for (; std::getline(lines, line); ++examples) {
      line.erase(0, line.find_first_not_of(' '));
      CHECK(line.starts_with(path + " "));
      app::Chosen anew;
      CHECK_NOTHROW(app::command_tree(anew)->parse(line, true));
      CHECK(anew.command != nullptr);
    }
    CHECK(examples > 0);
    CHECK(seen.insert(footer).second);
  }
}

// A supply's guardian is this program again.
int main(int argc, char** argv) {
  const Words words(argv, argv + argc);
  if (words.size() == 2 && words[1] == "guardian") return app::run_program(words);
  return doctest::Context(argc, argv).run();
}
