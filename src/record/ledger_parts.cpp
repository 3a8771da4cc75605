#include "record/ledger_parts.h"

#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <ctime>
#include <fstream>
#include <nlohmann/json.hpp>
#include <random>
#include <set>
#include <sstream>
#include <utility>

#include "quantity/characters.h"
#include "quantity/file.h"
#include "quantity/text.h"
#include "record/json.h"

namespace pinproof::record {
namespace {

using Json = nlohmann::ordered_json;

constexpr std::string_view kDigits = "0123456789ABCDEFGHJKMNPQRSTVWXYZ";  // Crockford's base 32

constexpr std::size_t kLongestKey = 1000;  // two of them and more fit into 2704 bytes

std::string dump(const Json& json) {
  return json.dump(-1, ' ', false, Json::error_handler_t::replace);
}

std::string in_base_32(const unsigned char (&bytes)[16]) {
  std::string out(26, '0');
  unsigned bits = 0, held = 0;
  std::size_t at = 26;
  for (std::size_t k = 16; k-- > 0;) {
    held |= static_cast<unsigned>(bytes[k]) << bits;
    bits += 8;
    while (bits >= 5) out[--at] = kDigits[held & 31], held >>= 5, bits -= 5;
  }
  out[--at] = kDigits[held & 31];
  return out;
}

// The time at which a process began, so that a number used again is another process.
std::string began(const std::string& pid) {
  std::ifstream in("/proc/" + pid + "/stat");
  std::string all((std::istreambuf_iterator<char>(in)), {});
  const std::size_t name_ends = all.rfind(')');
  if (name_ends == std::string::npos) return "";
  std::istringstream rest(all.substr(name_ends + 1));
  std::string word;
  for (int k = 3; k <= 22 && rest >> word; ++k) {
  }
  return word;
}

std::string host() {
  char name[256] = {};
  ::gethostname(name, sizeof name - 1);
  return name;
}

}  // namespace

std::string event_hash(const std::string& before, std::string_view body) {
  return sha256_hex(before + "\n" + std::string(body));
}

std::string header_hash(std::string_view header) { return sha256_hex(header); }

std::string entry_hash(const std::string& before, const Parcel::LedgerEntry& entry,
                       const std::string& attempt) {
  return sha256_hex(before + "\n" + entry.id + "\n" + attempt + "\n" + entry.kind + "\n" +
                    entry.at + "\n" + entry.body);
}

// Longer than any name that is held as it is, so that none can be taken for it.
std::string key_of(const std::string& name) {
  if (name.size() <= kLongestKey) return name;
  const std::string hash = sha256_hex(name);
  std::string out;
  for (std::string_view rest = name; !rest.empty();) {
    const std::size_t bytes = first_character(rest).bytes;
    if (out.size() + bytes + hash.size() > kLongestKey) break;
    out += rest.substr(0, bytes);
    rest.remove_prefix(bytes);
  }
  out.resize(kLongestKey + 1 - hash.size(), ' ');
  return out + hash;
}

bool is_shortened(const std::string& key) { return key.size() > kLongestKey; }

std::string closed_body(const std::string& ended, std::int64_t events, const std::string& hash) {
  return dump({{"ended", ended}, {"events", events}, {"hash", hash}});
}

Closed read_closed(std::string_view body) {
  const Json json = Json::parse(body);
  return {json.at("ended"), json.at("hash"), json.at("events")};
}

std::string judged_body(const Judged& judged) {
  Json findings = Json::array();
  for (const FoundName& f : judged.findings) findings.push_back({f.kind, f.part});
  return dump({{"verdict", judged.verdict},
               {"level", judged.level},
               {"why", judged.why},
               {"profile_hash", judged.profile_hash},
               {"program", judged.program},
               {"findings", findings},
               {"figures_by_id", figures_hash(judged.figures)}});
}

Judged read_judged(std::string_view body, FiguresHash& figures) {
  const Json json = Json::parse(body);
  Judged out;
  out.verdict = json.at("verdict"), out.level = json.at("level"), out.why = json.at("why");
  out.profile_hash = json.at("profile_hash"), out.program = json.at("program");
  for (const Json& f : json.at("findings")) out.findings.push_back({f.at(0), f.at(1)});
  figures.by_title = json.contains("figures");
  figures.hash = json.at(figures.by_title ? "figures" : "figures_by_id");
  return out;
}

std::string override_body(const Override& decision) {
  return dump({{"verdict", decision.verdict}, {"by", decision.by}, {"why", decision.why}});
}

Override read_override(std::string_view body, std::string_view at) {
  const Json json = Json::parse(body);
  return {json.at("verdict"), json.at("by"), json.at("why"), std::string(at)};
}

std::string kind_name(const Figure& f, bool by_title) {
  return f.check + "\t" + f.subject + "\t" + f.aspect + "\t" + exact(f.limit.low) + "\t" +
         exact(f.limit.high) + (by_title ? "\t" + f.title : "");
}

Judged without_doubles(Judged judged) {
  std::set<std::string> seen;
  std::erase_if(judged.figures, [&](const Figure& f) { return !seen.insert(kind_name(f)).second; });
  std::set<std::pair<std::string, std::string>> found;
  std::erase_if(judged.findings,
                [&](const FoundName& f) { return !found.emplace(f.kind, f.part).second; });
  return judged;
}

std::string figures_hash(const std::vector<Figure>& figures, bool by_title) {
  std::vector<std::string> lines;
  lines.reserve(figures.size());
  for (const Figure& f : figures)
    lines.push_back(f.check + "\t" + f.subject + "\t" + (by_title ? f.title : f.aspect) + "\t" +
                    exact(f.limit.low) + "\t" + exact(f.limit.high) + "\t" +
                    (f.value ? exact(*f.value) : "") + "\t" + exact(f.u) + "\t" + f.outcome);
  std::sort(lines.begin(), lines.end());
  std::string all;
  for (const std::string& line : lines) all += line + "\n";
  return sha256_hex(all);
}

std::string own_process() {
  const std::string pid = std::to_string(::getpid());
  return host() + " " + pid + " " + began(pid);
}

bool still_runs(const std::string& process) {
  if (process.empty()) return false;
  std::istringstream in(process);
  std::string where, pid, start;
  in >> where >> pid >> start;
  // Of another computer nothing is known: better not to write into its attempt.
  return where != host() || (!start.empty() && began(pid) == start);
}

Parcel parcel_of(const Record& record, const std::string& profile_json, const std::string& ended,
                 const Judged& given) {
  const Judged judged = without_doubles(given);
  const std::string header = header_to_json(record.header), &id = record.header.id;
  Parcel out;
  out.header = header_from_json(header, id);  // bytes that are no text are replaced on the way
  out.profile_json = profile_json;
  std::string hash = header_hash(header);
  for (const Event& event : record.events) {
    out.bodies.push_back(event_to_json(event));
    hash = event_hash(hash, out.bodies.back());
  }
  const std::string& at = record.header.started_at;
  const auto count = static_cast<std::int64_t>(out.bodies.size());
  out.entries = {{id_of(id + " begun"), "begun", at, header},
                 {id_of(id + " closed"), "closed", at, closed_body(ended, count, hash)},
                 {id_of(id + " judged"), "judged", at, judged_body(judged)}};
  out.figures = judged.figures;
  return out;
}

std::string new_id() {
  const auto now = std::chrono::duration_cast<std::chrono::milliseconds>(
                       std::chrono::system_clock::now().time_since_epoch())
                       .count();
  unsigned char bytes[16];
  for (int k = 0; k < 6; ++k) bytes[k] = static_cast<unsigned char>(now >> (40 - 8 * k));
  std::random_device chance;
  for (int k = 6; k < 16; ++k) bytes[k] = static_cast<unsigned char>(chance());
  return in_base_32(bytes);
}

std::string id_of(const std::string& bytes) {
  const std::string hex = sha256_hex(bytes);
  unsigned char out[16];
  for (std::size_t k = 0; k < 16; ++k)
    out[k] = static_cast<unsigned char>(std::stoul(hex.substr(2 * k, 2), nullptr, 16));
  return in_base_32(out);
}

std::string utc_text() {
  const std::time_t now = std::time(nullptr);
  std::tm utc{};
  gmtime_r(&now, &utc);
  char text[32];
  std::strftime(text, sizeof text, "%Y-%m-%dT%H:%M:%SZ", &utc);
  return text;
}

}  // namespace pinproof::record
