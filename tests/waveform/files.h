// Reading of the tests' own data files.
#pragma once

#include <fstream>
#include <iterator>
#include <stdexcept>
#include <string>

#include "paths.h"

namespace pinproof::waveform {

inline std::string text_of_file(const std::string& path) {
  std::ifstream in(path, std::ios::binary);
  if (!in) throw std::runtime_error(path + ": cannot be read");
  return {std::istreambuf_iterator<char>(in), {}};
}

inline std::string data_file(const std::string& name) {
  return text_of_file(pinproof::tests::data_dir() + "/" + name);
}

}  // namespace pinproof::waveform
