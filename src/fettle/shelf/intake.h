// Taking a package in: open it, vet it, and read its files once into staging. Nothing on the shelf changes here; what
// is refused leaves nothing when the Intake goes. Unless the verdict is halt, its staging still uses the catalogue
// until it is sealed.
#pragma once

#include <filesystem>
#include <memory>
#include <string>
#include <vector>

#include "fettle/base/result.h"
#include "fettle/shelf/catalogue.h"
#include "fettle/shelf/shelf.h"
#include "fettle/shelf/staging.h"

namespace fettle::shelf {

struct Intake {
    Vetting vetting;  // halt: refused; then the rest may be incomplete
    family::Release release;
    std::vector<CataloguedFile> files;           // index, signature, then the pieces in index order
    std::string package_sha256, content_sha256;  // see ProvenanceSlip
    std::unique_ptr<Staging> staging;            // holds the files' bytes, not yet published
};

// Errors are for what is not the package's fault (no rule for packages in the family, disk full); everything that is
// wrong with the package is a halt in the vetting. In this order, each only if the one before found no reason to stop:
// what it is and what is in it; signature over the index, before anything the index says is believed; what the index
// claims; its files against the index; their content. now: for the dates of certificates.
Result<Intake> take_in(const family::Family& family, const AddRequest& request, const Store& store, UnixMs now,
                       const Progress& progress);

}  // namespace fettle::shelf
