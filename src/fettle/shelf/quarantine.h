// Refused packages that somebody wants to keep for a look: a copy with the report of the vetting beside it, in a folder
// of their own that nothing else ever reads. They are never shelved from there.
#pragma once

#include <filesystem>

#include "fettle/base/clock.h"
#include "fettle/base/result.h"
#include "fettle/shelf/shelf.h"

namespace fettle::shelf {

// Copies folder or archive to QUARANTINE/DATE-NNN/package (a file keeps no name of its own there) and writes
// report.json beside it; gives that folder. Links, devices and pipes are not copied: the report names them. It stands
// there whole or not at all; what a killed copy left is cleared away by the next. outside_error when the disk is full
// or the package cannot be read.
Result<std::filesystem::path> keep_refused(const std::filesystem::path& quarantine, const AddRequest& request,
                                           const Vetting& vetting, UnixMs now);

}  // namespace fettle::shelf
