// Attempts for the ledger's tests, made up.
#pragma once

#include <cstdio>
#include <filesystem>
#include <string>

#include "record/ledger.h"

namespace pinproof::record {

/// A folder that goes away with its test.
class Folder {
 public:
  Folder() : path_(std::filesystem::temp_directory_path() / ("pinproof-" + new_id())) {
    std::filesystem::create_directories(path_);
  }
  ~Folder() { std::filesystem::remove_all(path_); }
  Folder(const Folder&) = delete;
  Folder& operator=(const Folder&) = delete;
  std::string file(const std::string& name) const { return path_ / name; }

 private:
  std::filesystem::path path_;
};

inline Header header(const std::string& serial, const std::string& lot = "L") {
  Header out;
  out.profile_name = "ferry yard five-speed", out.profile_hash = "c0ffee";
  out.bench_name = "bench by the window", out.serial = serial, out.lot = lot;
  out.program = "pinproof test", out.started_at = "2026-11-02T08:15:00Z";
  return out;
}

inline Reading reading(const std::string& coil, double ohm) {
  Reading out;
  out.key = {"coil-resistance", coil, ""};
  out.from = {"1"}, out.to = {"2"};
  out.measured = {Unit::ohm, {.value = ohm, .u = 0.01, .u_random = 0.002, .range_end = 120}};
  return out;
}

inline Judged accepted(double ohm) {
  Judged out;
  out.verdict = "accept", out.level = "static", out.why = "All 1 required checks passed.";
  out.profile_hash = "c0ffee", out.program = "pinproof test";
  Figure f{"coil-resistance", "A", "resistance_ohm", "Coil A: resistance at 20 °C", Unit::ohm, {12, 14}, {}, 0, {}};
  f.value = ohm, f.u = 0.01, f.outcome = "pass";
  out.figures = {f};
  return out;
}

/// A whole attempt; its id.
inline std::string keep(Ledger& ledger, Header h, double ohm) {
  const std::string id = ledger.begin(h, "{}");
  ledger.append(id, reading("A", ohm));
  ledger.append(id, Finished{findings::Ending::complete, ""});
  ledger.close(id, "complete", accepted(ohm));
  return id;
}

}  // namespace pinproof::record
