// What the shelf knows of its releases: descriptions, which file is which piece of content, where each content's parts
// stand in the packs, the slips, the refusals, when a release was last verified. In catalogue.sqlite; the room's only
// place with SQL. Not for several threads at once.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

#include "fettle/base/result.h"
#include "fettle/records/database.h"
#include "fettle/shelf/pack.h"
#include "fettle/shelf/shelf.h"

namespace fettle::shelf {

struct CataloguedFile {
    std::string path;
    std::uint64_t size = 0;
    std::string sha256;
};

// A folder's own digest: over the lines "digest  path", sorted by path, of all that was taken from it. `sha256sum`
// writes such lines.
std::string digest_of_lines(const std::vector<CataloguedFile>& files);

// One stored part of a content. Ids are never used twice.
struct Part {
    std::int64_t id = 0, content = 0, prefix = 0;  // prefix: another part's id; 0: none
    int seq = 0;                                   // its place among the content's parts, from 0
    std::int64_t pack = 0;
    std::uint64_t at = 0;  // of the record's head
    std::uint32_t stored = 0, size = 0;
    Form form = Form::plain;
};
using Parts = std::unordered_map<std::int64_t, Part>;

struct KeptContent {
    std::int64_t id = 0;
    std::uint64_t size = 0;
    std::string sha256;
    std::vector<std::int64_t> parts;  // in order
};

// What an intake (or a tidying) wrote: into packs of its own, numbered from 0 until they are published.
struct NewPart {
    std::size_t pack = 0;
    std::uint64_t at = 0;
    std::uint32_t stored = 0, size = 0;
    Form form = Form::plain;
    std::int64_t prefix = 0;
    bool keep = false;  // the old part of the content that is mended is whole: it stays
};
struct NewContent {
    std::uint64_t size = 0;
    std::int64_t mends = 0;  // the content of the same digest whose parts are damaged; 0: new
    std::vector<NewPart> parts;
};
using NewContents = std::map<std::string, NewContent>;  // by SHA-256

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

    // One durable step each. Of the contents none may be there yet, save those that mend one (Staging::publish). add()
    // takes the place of an index-only entry of the same release; packs are the ids that free_pack() named, in the
    // order of NewPart::pack.
    Status add(const Shelved& shelved, const std::vector<CataloguedFile>& files, const NewContents& contents,
               const std::vector<std::int64_t>& packs);
    Status add_slip(std::int64_t id, const ProvenanceSlip& slip, const NewContents& contents,
                    const std::vector<std::int64_t>& packs);
    Status add_refusal(const Refusal& refusal);
    Status remove(std::int64_t id);
    Status set_verified(const std::vector<std::int64_t>& ids, UnixMs at, bool good);

    Result<std::vector<Shelved>> list(std::string_view family, std::string_view release);  // "" = all
    Result<std::vector<Outline>> outlines(std::string_view family, std::string_view release);
    Result<std::vector<Refusal>> refusals();
    Result<Shelf::AsOf> as_of(std::string_view family);

    // What stands where.
    Result<std::optional<KeptContent>> content(const std::string& sha256);
    Result<std::set<std::string>> which_are_there(const std::vector<std::string>& sha256s);
    struct Held {
        std::vector<KeptContent> contents;
        Parts parts;  // of the contents, and all that they rest on
    };
    Result<Held> held_by(std::int64_t release);
    Result<Held> held();  // by any release
    Result<Parts> parts_of(std::int64_t content);
    struct Holder {
        std::int64_t release;
        std::string family, name, path;
    };
    Result<std::vector<Holder>> holders(std::int64_t content);
    Result<std::vector<std::int64_t>> packs();
    Result<std::int64_t> free_pack();  // above every id that was ever used

    // Tidying: in one step the parts stand where `moved` says, all other contents and packs are forgotten.
    struct Moved {
        Part part;
        std::size_t new_pack = 0;  // of `packs`
    };
    Status move(const std::vector<Moved>& moved, const Held& living, const std::vector<std::int64_t>& packs,
                const std::vector<std::int64_t>& gone);

private:
    explicit Catalogue(records::Database db) : db_(std::move(db)) {}
    Status store(const NewContents& contents, const std::vector<std::int64_t>& packs);
    Result<Held> held_where(const std::string& contents, const std::vector<records::Value>& values);
    records::Database db_;
};

}  // namespace fettle::shelf
