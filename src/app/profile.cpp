// pinproof profile: load, lint and show a profile.
#include <CLI/CLI.hpp>
#include <algorithm>
#include <cstdio>
#include <nlohmann/json.hpp>

#include "app/command.h"
#include "app/pdf.h"
#include "app/values.h"
#include "lever/lint_code.h"
#include "profile/lint.h"
#include "profile/load.h"
#include "quantity/file.h"
#include "report/bench_card.h"

namespace pinproof::app {
namespace {

struct ProfileOptions {
  std::string profile, card;
  bool lint = false;
};

void add_options(CLI::App& app, ProfileOptions& options) {
  takes_profile(
      app.add_option("profile", options.profile, "Profile file, or the name of an installed one"))
      ->required();
  takes_file(app.add_option(
      "--card", options.card,
      "Write a sheet for the wall beside the bench: an HTML file, or PDF by its name"));
  app.add_flag("--lint", options.lint, "Also look for what a loadable profile may still get wrong");
}

void print_json(const profile::Profile& profile, const std::vector<profile::Remark>& remarks,
                bool linted) {
  nlohmann::ordered_json out;
  out["name"] = profile.name;
  out["hash"] = profile.hash;
  out["pins"] = profile.connector.pins.size();
  out["parts"] = profile.parts.size();
  if (linted) {
    out["remarks"] = nlohmann::ordered_json::array();
    for (const auto& r : remarks)
      out["remarks"].push_back(
          {{"weight", r.weight == profile::Remark::Weight::error ? "error" : "warning"},
           {"pointer", r.pointer},
           {"text", r.text}});
  }
  std::printf("%s\n", out.dump(2).c_str());
}

void print_text(const profile::Profile& profile, const std::vector<profile::Remark>& remarks,
                bool linted) {
  std::printf("%s\n", profile.name.c_str());
  for (const auto& pin : profile.connector.pins)
    std::printf("  %-3s %-32s %s\n", pin.number.c_str(), pin.signal.c_str(), pin.colour.c_str());
  for (const auto& part : profile.parts)
    std::printf("  %-10s %-18s %s - %s\n", std::string(name_of(part.kind())).c_str(),
                part.name.c_str(), part.between[0].c_str(), part.between[1].c_str());
  for (const auto& r : remarks)
    std::printf("%s: %s: %s\n", r.weight == profile::Remark::Weight::error ? "error" : "warning",
                r.pointer.c_str(), r.text.c_str());
  if (linted && remarks.empty()) std::printf("lint: nothing found\n");
}

std::vector<profile::Remark> all_remarks(const profile::Profile& profile) {
  auto out = profile::lint(profile);
  for (const auto& more : {lever::lint_code(profile), lever::lint_gears(profile)})
    out.insert(out.end(), more.begin(), more.end());
  std::stable_partition(out.begin(), out.end(), [](const profile::Remark& r) {
    return r.weight == profile::Remark::Weight::error;
  });
  return out;
}

void write_card(const std::string& path, const profile::Profile& profile) {
  const std::string html = report::bench_card_html(profile);
  if (is_pdf(path))
    write_pdf(html, path);
  else
    write_file(path, html);
}

int run(const ProfileOptions& options, const Common& common) {
  const auto profile = profile::load_profile(find_profile(options.profile));
  const auto remarks = options.lint ? all_remarks(profile) : std::vector<profile::Remark>{};
  if (!options.card.empty()) write_card(options.card, profile);
  if (common.json)
    print_json(profile, remarks, options.lint);
  else
    print_text(profile, remarks, options.lint);
  const bool bad = !remarks.empty() && remarks.front().weight == profile::Remark::Weight::error;
  return bad ? 3 : 0;
}

Run prepare(CLI::App& app) { return prepared(app, add_options, run); }

}  // namespace

const Command kProfile{.name = "profile",
                       .description = "Show a profile and check it",
                       .example = "pinproof profile six-speed-20-pin --lint --card wall.pdf",
                       .prepare = prepare};

}  // namespace pinproof::app
