// Thousands of packs, good and bad, on good benches and bad ones: no bad one is accepted, no good
// one rejected. Confirms what pinproof coverage promises; see inspection/detection.h.
//
//   campaign --cases 50000 --jobs 2 --json campaign.json
//   campaign --seed 1 --only 4711
#include <CLI/CLI.hpp>
#include <atomic>
#include <chrono>
#include <cstdio>
#include <fstream>
#include <mutex>
#include <thread>

#include "campaign/table.h"

using namespace pinproof;
using namespace pinproof::campaign;

namespace {

constexpr std::size_t kTold = 1000;  // cases between two lines of progress

struct Options {
  std::size_t cases = 1500;
  std::uint64_t seed = 1;
  unsigned jobs = 1;
  std::vector<std::size_t> only;
  std::string json;
  bool whole = false;
};

Came inspected(const Case& one, Ended& ended) {
  Came out{one, 0, false, std::nullopt, ""};
  try {
    ended = inspect(one.setting);
    out.exit_code = ended.exit_code;
    if (one.stratum == Stratum::one_fault)
      out.named = named_right(one.pack.front(), ended.judgement);
    if (out.exit_code != 0) out.why = first_trouble(ended);
  } catch (const std::exception& e) {
    out.threw = true, out.why = e.what();
  }
  return out;
}

class Progress {
 public:
  void done() {
    const std::lock_guard lock(mutex_);
    if (++count_ % kTold != 0) return;
    const std::chrono::duration<double> took = std::chrono::steady_clock::now() - since_;
    std::fprintf(stderr, "%zu cases, %.1f a second\n", count_,
                 static_cast<double>(count_) / took.count());
  }

 private:
  std::mutex mutex_;
  std::size_t count_ = 0;
  std::chrono::steady_clock::time_point since_ = std::chrono::steady_clock::now();
};

std::vector<Came> all_of(const Drawing& drawing, const Options& options) {
  std::vector<Came> out(options.cases);
  std::atomic<std::size_t> next{0};
  Progress progress;
  const auto work = [&] {
    for (std::size_t i = next++; i < options.cases; i = next++) {
      Ended ended;
      out[i] = inspected(drawing(i), ended);
      progress.done();
    }
  };
  std::vector<std::jthread> threads;
  for (unsigned j = 0; j < std::max(options.jobs, 1U); ++j) threads.emplace_back(work);
  threads.clear();
  return out;
}

void tell(const Came& came, const Ended& ended, bool whole) {
  std::printf("case %zu: %s\n  %s%s\n", came.one.number, text_of(came.one).c_str(),
              came.threw ? "threw: " : "exit ",
              came.threw ? came.why.c_str() : std::to_string(came.exit_code).c_str());
  if (came.threw) return;
  std::printf("  %s\n", ended.judgement.why.c_str());
  if (!ended.trouble.empty()) std::printf("  bench: %s\n", ended.trouble.c_str());
  for (const auto& r : ended.judgement.results)
    if (whole || r.outcome != inspection::Outcome::pass)
      std::printf("  %-11s %s: %s\n", std::string(inspection::name_of(r.outcome)).c_str(),
                  r.title.c_str(), r.text.c_str());
  for (const auto& f : ended.judgement.findings)
    std::printf("  finding %s of %s: %s\n", f.kind.c_str(), f.part.c_str(), f.text.c_str());
}

}  // namespace

int main(int argc, char** argv) {
  Options options;
  CLI::App app("Inspects packs drawn at random, good and bad, on good benches and bad ones");
  app.add_option("--cases", options.cases, "How many (1500)")->check(CLI::Range(1, 10000000));
  app.add_option("--seed", options.seed, "Of the campaign (1)");
  app.add_option("--jobs", options.jobs, "Inspections at a time (1)")->check(CLI::Range(1, 64));
  app.add_option("--only", options.only, "Repeat these cases alone and tell all of them");
  app.add_flag("--whole", options.whole, "With --only: what passed as well");
  app.add_option("--json", options.json, "Write the tables to this file");
  CLI11_PARSE(app, argc, argv);
  const Drawing drawing(options.seed);
  std::vector<Came> all;
  for (const std::size_t number : options.only) {
    Ended ended;
    all.push_back(inspected(drawing(number), ended));
    tell(all.back(), ended, options.whole);
  }
  if (!options.only.empty()) return holds(all) ? 0 : 1;
  all = all_of(drawing, options);
  std::fputs(table_text(all, options.seed).c_str(), stdout);
  if (!options.json.empty()) {
    std::ofstream file(options.json);
    file << table_json(all, options.seed);
    if (!file.flush())
      return std::fprintf(stderr, "%s: cannot be written\n", options.json.c_str()), 3;
  }
  return holds(all) ? 0 : 1;
}
