// pinproof records export, import, backup, send.
#include <CLI/CLI.hpp>
#include <cstdio>
#include <fstream>
#include <map>

#include "app/command.h"
#include "app/records.h"
#include "app/stop.h"
#include "app/values.h"
#include "inspection/judge/judge.h"
#include "inspection/judge/judged.h"
#include "profile/load.h"
#include "quantity/error.h"
#include "quantity/file.h"
#include "record/json.h"
#include "record/store.h"
#include "report/records.h"
#include "session/inspecting.h"
#include "terminal/bar.h"

namespace pinproof::app {
namespace {

constexpr std::size_t kLargestRecord = std::size_t{256} << 20;
constexpr std::size_t kLargestProfile = std::size_t{16} << 20;
// Records a transaction: others wait for it, and a shared ledger waits for every statement.
constexpr std::size_t kAtOnce = 25;

// A file that is written line by line and only takes its name when it is whole.
class Output {
 public:
  explicit Output(const std::string& path) : path_(path), out_(path + ".part", std::ios::binary) {
    if (!out_) throw Error(Fault::usage, path + ": cannot write");
  }
  ~Output() { std::remove((path_ + ".part").c_str()); }
  Output(const Output&) = delete;
  Output& operator=(const Output&) = delete;
  void add(const std::string& text) { out_ << text; }
  void done() {
    out_.close();
    if (!out_ || std::rename((path_ + ".part").c_str(), path_.c_str()) != 0)
      throw Error(Fault::usage, path_ + ": cannot write: is the disk full?");
  }

 private:
  std::string path_;
  std::ofstream out_;
};

void export_options(CLI::App& app, RecordsOptions& o) {
  add_search(app, o);
  takes_file(app.add_option("--csv", o.csv, "One row a reading, to this file"));
  takes_file(app.add_option("--lines", o.json_lines, "One record a line as JSON, to this file"));
}

void write_records(const record::Ledger& ledger, const std::vector<record::Attempt>& found,
                   Output* csv, Output* lines) {
  terminal::Bar bar("Records exported", found.size());
  for (std::size_t k = 0; k < found.size(); ++k) {
    bar.at(k);
    const auto record = ledger.load(found[k].id);
    if (csv) csv->add(report::csv_rows(record, &found[k]));
    if (lines) lines->add(record::to_json(record) + "\n");
  }
}

int export_records(const RecordsOptions& o, const Common&) {
  if (o.csv.empty() && o.json_lines.empty())
    throw Error(Fault::usage, "say --csv FILE or --lines FILE");
  const auto ledger = open_to_read(o.ledger);
  std::unique_ptr<Output> csv, lines;
  if (!o.csv.empty()) {
    csv = std::make_unique<Output>(o.csv);
    csv->add(report::csv_head(true));
  }
  if (!o.json_lines.empty()) lines = std::make_unique<Output>(o.json_lines);
  const auto found = ledger->find(o.search);
  write_records(*ledger, found, csv.get(), lines.get());
  if (csv) csv->done();
  if (lines) lines->done();
  std::fprintf(stderr, "%zu record(s) exported.\n", found.size());
  return 0;
}

void import_options(CLI::App& app, RecordsOptions& o) {
  takes_file(
      app.add_option("files", o.names, "Records as JSON, one a line, or another ledger's file"))
      ->required();
  takes_profile(app.add_option("--profile", o.profile, "Judge them by this profile"));
}

/// Turns records into parcels of a ledger, judged where their profile is at hand.
class Importing {
 public:
  Importing(record::Ledger& ledger, const std::string& named) : ledger_(ledger) {
    if (named.empty()) return;
    const std::string path = find_profile(named);
    add(read_file(path, kLargestProfile), path);
    named_ = profiles_.begin()->first;
  }

  void add(record::Record record, const std::string& from) {
    if (record.header.note.starts_with(session::kReplayed))
      throw Error(Fault::usage, from + ": " + std::string(session::kReplayed) +
                                    ", so nobody inspected this pack at that time: it goes into "
                                    "no ledger");
    bar_.at(++seen_);
    if (record.header.id.empty()) record.header.id = record::id_of(record::to_json(record));
    parcels_.push_back(parcel_of(record));
    if (parcels_.size() >= kAtOnce) flush();
  }
  void flush() {
    if (!parcels_.empty()) ledger_.receive(parcels_);
    parcels_.clear();
  }
  std::size_t seen() const { return seen_; }
  std::size_t unjudged() const { return unjudged_; }

 private:
  struct Known {
    profile::Profile profile;
    std::string json;
  };

  void add(const std::string& json, const std::string& file) {
    auto profile = profile::parse_profile(json, file);
    const std::string hash = profile.hash;
    profiles_.emplace(hash, Known{std::move(profile), json});
  }

  const Known* known(const record::Header& header) {
    if (const auto found = profiles_.find(header.profile_hash); found != profiles_.end())
      return &found->second;
    if (const std::string json = ledger_.profile_json(header.profile_hash); !json.empty()) {
      add(json, "profile of " + header.id);
      return &profiles_.at(header.profile_hash);
    }
    if (named_.empty() || profiles_.at(named_).profile.name != header.profile_name) return nullptr;
    return &profiles_.at(named_);
  }

  record::Parcel parcel_of(const record::Record& record) {
    const Known* profile = known(record.header);
    record::Judged judged{"hold", "static", "Not judged: its profile is not at hand.", "", "",
                          {},     {}};
    std::string ended = "complete";
    if (profile) {
      const auto judgement = inspection::judge(profile->profile, record);
      judged = inspection::judged_of(judgement, profile->profile.hash, record.header.program);
      ended = inspection::how_it_ended(judgement, record);
    } else {
      ++unjudged_;
    }
    return record::parcel_of(record, profile ? profile->json : "", ended, judged);
  }

  record::Ledger& ledger_;
  std::map<std::string, Known> profiles_;  // by hash
  std::string named_;
  std::vector<record::Parcel> parcels_;
  std::size_t seen_ = 0, unjudged_ = 0;
  terminal::Bar bar_{"Records imported", {}};
};

void import_lines(const std::string& path, Importing& importing) {
  std::ifstream in(path, std::ios::binary);
  if (!in) throw Error(Fault::usage, path + ": no such file");
  std::string line;
  for (std::size_t number = 1; std::getline(in, line); ++number) {
    if (line.find_first_not_of(" \t\r") == std::string::npos) continue;
    if (number == 1 && line.find('}') == std::string::npos) {  // one record over many lines
      importing.add(record::from_json(read_file(path, kLargestRecord), path), path);
      return;
    }
    const std::string from = path + " line " + std::to_string(number);
    importing.add(record::from_json(line, from), from);
    if (stop_token().stop_requested()) throw Error(Fault::aborted, "stopped; import it again");
  }
}

// Without notes in the other ledger: it is somebody's, and what is here already is left alone.
std::size_t import_ledger(const std::string& name, record::Ledger& to) {
  const auto from = record::Ledger::open_existing(name);
  std::size_t seen = 0, looked_at = 0;
  const auto all = from->find({});
  terminal::Bar bar("Records imported", all.size());
  for (const auto& attempt : all) {
    bar.at(looked_at++);
    if (!attempt.closed) continue;
    to.receive({from->parcel(attempt.id)});
    ++seen;
  }
  return seen;
}

bool is_ledger(const std::string& path) {
  char magic[16] = {};
  std::ifstream(path, std::ios::binary).read(magic, 15);
  return record::is_server(path) || std::string_view(magic, 13) == "SQLite format";
}

struct Imported {
  std::size_t records = 0, unjudged = 0;
};

Imported import_all(const RecordsOptions& o, record::Ledger& ledger) {
  Importing importing(ledger, o.profile);
  std::size_t from_ledgers = 0;
  for (const std::string& name : o.names) {
    if (is_ledger(name))
      from_ledgers += import_ledger(name, ledger);
    else
      import_lines(name, importing);
  }
  importing.flush();
  return {importing.seen() + from_ledgers, importing.unjudged()};
}

int import_records(const RecordsOptions& o, const Common&) {
  const std::string place = o.ledger.place();
  if (place.empty()) throw Error(Fault::usage, "--ledger none: nowhere to import to");
  const auto ledger = record::Ledger::open(place);
  const Imported done = import_all(o, *ledger);
  std::fprintf(stderr, "%zu record(s) imported; what was here already was left alone.\n",
               done.records);
  if (done.unjudged > 0)
    std::fprintf(stderr,
                 "%zu of them not judged: no profile of their hash in this ledger. Say --profile, "
                 "or records rejudge later.\n",
                 done.unjudged);
  return 0;
}

void backup_options(CLI::App& app, RecordsOptions& o) {
  takes_file(app.add_option("file", o.names, "Where to: a ledger of its own"))
      ->required()
      ->expected(1);
}

int back_up(const RecordsOptions& o, const Common&) {
  const auto ledger = open_to_read(o.ledger);
  ledger->back_up(o.names.front());
  const auto copy = record::Ledger::open_existing(o.names.front())->verify();
  if (!copy.problems.empty()) {
    std::fputs(report::verified_text(copy).c_str(), stderr);
    throw Error(Fault::usage, o.names.front() + ": the copy does not verify");
  }
  std::printf("%s: %zu record(s), verified. Head of the chain: %s\n", o.names.front().c_str(),
              copy.attempts, copy.head.c_str());
  return 0;
}

void no_options(CLI::App&, RecordsOptions&) {}

int send(const RecordsOptions& o, const Common&) {
  const std::string place = o.ledger.place();
  if (!record::is_server(place))
    throw Error(Fault::usage, "--ledger " + place + ": not a server, nothing waits");
  const session::Sent sent = session::send_spooled(place);
  std::printf("%zu waiting record(s) sent.\n", sent.records);
  if (!sent.trouble.empty()) throw Error(Fault::bench, sent.trouble);
  return 0;
}

}  // namespace

const Deed kExportRecords{
    "export", "Readings as CSV, records as JSON lines",
    "pinproof records export --lot 2026-W48 --csv readings.csv --lines records.jsonl",
    export_options, export_records};
const Deed kImportRecords{"import", "Take in records of a file or of another ledger",
                          "pinproof records import records.jsonl --profile six-speed-20-pin",
                          import_options, import_records};
const Deed kBackUp{"backup", "A verified copy of the ledger in a file",
                   "pinproof records backup /media/backup/ledger.sqlite", backup_options, back_up};
const Deed kSend{"send", "Hand over what waits for a server that did not answer",
                 "pinproof records send --ledger postgresql://bench@ledger.example/pinproof",
                 no_options, send};

}  // namespace pinproof::app
