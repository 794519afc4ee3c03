// A list that a command takes: of a file, or as it is typed.
#pragma once

#include <string>

#include "fettle/base/result.h"
#include "fettle/workshop/read_list.h"

namespace fettle::app {

// "-": from standard input, up to its end. bad_input "file-too-large" over 4 MiB; errors of read_text_file.
Result<workshop::ListText> typed_list(const std::string& file);

}  // namespace fettle::app
