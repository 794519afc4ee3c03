// A list that a command takes: of a file, or as it is typed.
#pragma once

#include <string>
#include <vector>

#include "fettle/base/result.h"
#include "fettle/workshop/read_list.h"

namespace fettle::app {

// "-": from standard input, up to its end. bad_input "file-too-large" over 4 MiB; errors of read_text_file.
Result<workshop::ListText> typed_list(const std::string& file);

// "26.1.090, 27.3.118" → each without blanks; what is empty is left out.
std::vector<std::string> words_between_commas(const std::string& typed);

}  // namespace fettle::app
