// Whole small files, read with a bound and written so that a kill at any instant leaves the old file or the new one.
#pragma once

#include <filesystem>
#include <string>
#include <string_view>

#include "fettle/base/result.h"

namespace fettle {

// bad_input when it is missing, a folder, unreadable or larger than limit_bytes.
Result<std::string> read_text_file(const std::filesystem::path& path, std::uintmax_t limit_bytes = 64u << 20);

// Refuses to put itself in the place of anything but a plain file (bad_input not-a-plain-file).
// Writes path.tmp-PID beside it, syncs, renames, syncs the folder. outside_error (disk full, read-only) leaves the old
// file as it was and no temporary behind.
Status write_file_durably(const std::filesystem::path& path, std::string_view content);

// Makes the folder and its parents; outside_error when that fails.
Status make_folder(const std::filesystem::path& path);

}  // namespace fettle
