// What the shelf knows of its releases: descriptions, which file is which object, and the slips they came with. In
// catalogue.sqlite; the room's only place with SQL.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "fettle/base/result.h"
#include "fettle/records/database.h"
#include "fettle/shelf/shelf.h"

namespace fettle::shelf {

struct CataloguedFile {
    std::string path;
    std::uint64_t size = 0;
    std::string sha256;
};

class Catalogue {
public:
    static Result<Catalogue> open(const std::filesystem::path& file);

    struct Known {
        std::int64_t id = 0;
        bool index_only = false;
        std::string index_sha256;
        std::vector<CataloguedFile> files;  // index, signature, then the pieces in index order
    };
    Result<std::optional<Known>> known(std::string_view family, std::string_view release);

    // One durable step each. add() takes the place of an index-only entry of the same release.
    Status add(const Shelved& shelved, const std::vector<CataloguedFile>& files);
    Status add_slip(std::int64_t id, const ProvenanceSlip& slip);

    Result<std::vector<Shelved>> list(std::string_view family, std::string_view release);  // "" = all
    Result<bool> referenced(const std::string& sha256);
    Result<Shelf::AsOf> as_of(std::string_view family);

private:
    explicit Catalogue(records::Database db) : db_(std::move(db)) {}
    records::Database db_;
};

}  // namespace fettle::shelf
