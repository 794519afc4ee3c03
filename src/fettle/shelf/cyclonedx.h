// A release as an inventory that other programs read: CycloneDX 1.5 JSON (ECMA-424). One firmware component for each
// piece, its files below it with their digests.
#pragma once

#include <string>

#include "fettle/family/family.h"
#include "fettle/shelf/shelf.h"

namespace fettle::shelf {

// The same release gives the same text: serial number and time come from the index's digest and the intake.
// `program_version`: of the tool that wrote it.
std::string cyclonedx(const family::Family& family, const Shelved& shelved, const std::string& program_version);

}  // namespace fettle::shelf
