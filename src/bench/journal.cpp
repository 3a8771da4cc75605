#include "bench/journal.h"

#include <cerrno>
#include <cstring>
#include <nlohmann/json.hpp>
#include <utility>

#include "quantity/document.h"
#include "quantity/file.h"

namespace pinproof::bench {
namespace {

constexpr std::size_t kLargestFile = std::size_t{256} << 20;
constexpr std::string_view kSchema = "pinproof/dialogue/1";

// Bytes as text of the same numbers, so that every byte survives and most can be read.
std::string to_text(std::string_view bytes) {
  std::string out;
  for (const char c : bytes) {
    const auto u = static_cast<unsigned char>(c);
    if (u < 0x80) {
      out += c;
    } else {
      out += static_cast<char>(0xC0 | (u >> 6));
      out += static_cast<char>(0x80 | (u & 0x3F));
    }
  }
  return out;
}

std::string to_bytes(std::string_view text) {
  std::string out;
  for (std::size_t i = 0; i < text.size(); ++i) {
    const auto u = static_cast<unsigned char>(text[i]);
    if ((u & 0xE0) == 0xC0 && i + 1 < text.size()) {
      const auto next = static_cast<unsigned char>(text[++i]);
      out += static_cast<char>(((u & 0x03) << 6) | (next & 0x3F));
    } else {
      out += text[i];
    }
  }
  return out;
}

Exchange read_exchange(Place place) {
  Exchange out;
  out.at_s = place.number("at_s", {0, 1e9});
  out.who = place.text("who");
  out.did = place.text("did");
  // A digitiser's block is as long as its capture; the file's size bounds it.
  const auto bytes = [&](const char* key) {
    return place.optional_at(key) ? to_bytes(place.long_text(key, kLargestFile)) : std::string();
  };
  out.asked = bytes("asked");
  out.answer = bytes("answer");
  if (const auto fault = place.optional_number("fault", {0, 4}))
    out.fault = static_cast<Fault>(static_cast<int>(*fault));
  place.done();
  return out;
}

std::string shown(const std::string& did, const std::string& asked) {
  std::string out = did + " \"";
  for (const char c : asked.substr(0, 60)) out += c >= ' ' && c < 127 ? c : '?';
  return out + "\"";
}

}  // namespace

JournalWriter::JournalWriter(const std::string& path)
    : path_(path), file_(std::fopen(path.c_str(), "we")), start_(std::chrono::steady_clock::now()) {
  if (!file_) throw Error(Fault::usage, path + ": cannot write: " + std::strerror(errno));
  std::fprintf(file_, "{\"schema\":\"%s\"}\n", std::string(kSchema).c_str());
}

JournalWriter::~JournalWriter() { std::fclose(file_); }

void JournalWriter::add(Exchange exchange) {
  if (full_) return;
  const std::chrono::duration<double> now = std::chrono::steady_clock::now() - start_;
  nlohmann::ordered_json line{{"at_s", now.count()}, {"who", exchange.who}, {"did", exchange.did}};
  if (!exchange.asked.empty()) line["asked"] = to_text(exchange.asked);
  if (!exchange.answer.empty()) line["answer"] = to_text(exchange.answer);
  if (exchange.fault) line["fault"] = static_cast<int>(*exchange.fault);
  const std::string text = line.dump() + "\n";
  if (std::fwrite(text.data(), 1, text.size(), file_) == text.size() && std::fflush(file_) == 0)
    return;
  full_ = true;
  throw Error(Fault::bench, path_ + ": the dialogue cannot be kept: " + std::strerror(errno));
}

JournalReader::JournalReader(const std::string& path) : path_(path) {
  const std::string all = read_file(path, kLargestFile);
  std::size_t number = 0;
  for (std::size_t from = 0; from < all.size();) {
    const std::size_t end = std::min(all.find('\n', from), all.size());
    const std::string_view line = std::string_view(all).substr(from, end - from);
    from = end + 1;
    ++number;
    // A program that was killed leaves half a line, as the last one only.
    if (from > all.size()) break;
    const Document document = Document::parse(line, path + " line " + std::to_string(number));
    Place root = document.root();
    if (number == 1) {
      expect_schema(root, kSchema);
      continue;
    }
    Exchange exchange = read_exchange(std::move(root));
    const std::string who = exchange.who;
    lines_[who].emplace_back(number, std::move(exchange));
  }
}

std::string JournalReader::replay(const std::string& who, const std::string& did,
                                  const std::string& asked) {
  const auto& lines = lines_[who];
  std::size_t& next = next_[who];
  if (next == lines.size())
    throw Error(Fault::usage, path_ + ": the dialogue with " + who +
                                  " ends where the program asks: " + shown(did, asked));
  const auto& [number, exchange] = lines[next];
  if (exchange.did != did || exchange.asked != asked)
    throw Error(Fault::usage, path_ + ": line " + std::to_string(number) + ": " + who +
                                  ": the program asks " + shown(did, asked) +
                                  ", the dialogue has " + shown(exchange.did, exchange.asked) +
                                  ": another profile, bench file or version?");
  ++next;
  now_s_ = exchange.at_s;
  if (exchange.fault) throw Error(*exchange.fault, exchange.answer);
  return exchange.answer;
}

}  // namespace pinproof::bench
