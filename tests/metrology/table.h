// Tables of check values: tab-separated, with a head, comments behind #.
#pragma once

#include <doctest/doctest.h>

#include <fstream>
#include <map>
#include <sstream>
#include <string>
#include <vector>

#include "paths.h"
#include "quantity/text.h"

namespace pinproof::metrology {

using Row = std::map<std::string, std::string>;

inline std::vector<Row> table(const std::string& name) {
  std::ifstream in(pinproof::tests::data_dir() + "/" + name);
  REQUIRE(in);
  std::vector<Row> out;
  std::vector<std::string> head;
  for (std::string line; std::getline(in, line);) {
    if (line.empty() || line[0] == '#') continue;
    std::vector<std::string> fields;
    std::stringstream stream(line);
    for (std::string field; std::getline(stream, field, '\t');) fields.push_back(field);
    if (head.empty()) {
      head = fields;
      continue;
    }
    fields.resize(head.size());
    Row& row = out.emplace_back();
    for (std::size_t k = 0; k < head.size(); ++k) row[head[k]] = fields[k];
  }
  REQUIRE(out.size() > 5);
  return out;
}

inline double number(const Row& row, const std::string& key) {
  std::string text = row.at(key);
  text.erase(0, text.find_first_not_of(' '));
  const auto value = parse_number(text);
  REQUIRE(value.has_value());
  return *value;
}

inline std::size_t count(const Row& row, const std::string& key) {
  return static_cast<std::size_t>(number(row, key));
}

}  // namespace pinproof::metrology
