#include <fmt/core.h>

#include <algorithm>
#include <map>

#include "fettle/base/digest.h"
#include "fettle/base/files.h"
#include "fettle/base/text.h"
#include "fettle/card/careful.h"
#include "fettle/workshop/card_release.h"
#include "fettle/workshop/families.h"

namespace fettle::workshop {
namespace {
namespace fs = std::filesystem;

constexpr std::size_t most_files = 200'000;
constexpr std::size_t most_index_bytes = 64u << 20;

using Files = std::map<std::string, std::uint64_t>;  // path below the folder → bytes

Result<Files> files_of(const fs::path& folder) {
    Files out;
    std::error_code ec;
    if (!fs::is_directory(folder, ec))
        return bad_input("folder-missing", folder.string(), "is no folder",
                         "name the folder whose files are to stand on the card");
    for (fs::recursive_directory_iterator it(folder, ec), end; !ec && it != end; it.increment(ec)) {
        const std::string path = it->path().lexically_relative(folder).generic_string();
        if (it->is_symlink(ec) || (!it->is_directory(ec) && !it->is_regular_file(ec)))
            return bad_input("folder-odd-file", printable(path), "is a link or no plain file; a card holds plain files",
                             "put the file itself there, or leave it out");
        if (it->is_directory(ec)) continue;
        out[path] = it->file_size(ec);
        if (out.size() > most_files)
            return bad_input("folder-too-many", folder.string(), fmt::format("holds over {} files", most_files),
                             "name the package's own folder");
    }
    if (ec) return outside_error("folder-unreadable", folder.string(), ec.message(), "look at its rights");
    if (out.empty())
        return bad_input("folder-empty", folder.string(), "holds no file", "name the package's own folder");
    return out;
}

card::SourceFile source(const fs::path& folder, const std::string& prefix, const std::string& path, std::uint64_t size,
                        const std::string& sha256) {
    return card::source_from_file(prefix + path, folder / path, size, sha256);
}

// The family that is named, or the only one known here whose index stands in the folder and can be read.
Result<std::optional<family::Family>> family_of(const Workshop& shop, const std::string& named, const fs::path& folder,
                                                const Files& files) {
    if (!named.empty()) {
        auto family = load_family_by_id(shop, named);
        if (!family) return pass(family);
        return std::optional(std::move(*family));
    }
    auto all = load_families(shop);
    if (!all) return pass(all);
    std::optional<family::Family> found;
    for (auto& f : *all) {
        if (!f.package || !files.contains(f.package->index)) continue;
        const auto text = read_text_file(folder / f.package->index, most_index_bytes);
        if (!text || !family::read_index(f, *text)) continue;
        if (found)
            return usage_error("family-not-clear", with(flag("family")),
                               "indexes of several known families could stand there",
                               Next{"say which: ", with(wanted("family", "ID"))});
        found = std::move(f);
    }
    return found;
}

// In the order of the index, each piece with its digest; what the index does not have is told.
Result<std::vector<card::SourceFile>> by_index(const fs::path& folder, const Files& files, const family::Family& family,
                                               const family::Release& release) {
    std::vector<card::SourceFile> out;
    const std::string prefix = card::card_prefix(family);
    Files left = files;
    for (const std::string& path : {family.package->index, family.package->signature_file})
        if (const auto at = left.find(path); at != left.end()) {
            out.push_back(source(folder, prefix, path, at->second, ""));
            left.erase(at);
        }
    for (const auto& piece : release.pieces)
        for (const auto& f : piece.files) {
            const auto at = files.find(f.path);
            const bool here = at != files.end();
            if (!here || (f.sized && at->second != f.size))
                return bad_input("folder-not-as-index", printable(f.path),
                                 here ? fmt::format("has {} bytes; its index says {}", at->second, f.size)
                                      : "is not there; its index names it",
                                 "get the package again from its source");
            if (left.erase(f.path) == 0) continue;  // a file of several pieces
            const auto sha = f.digests.find("sha256");
            out.push_back(source(folder, prefix, f.path, at->second, sha == f.digests.end() ? "" : sha->second));
        }
    if (!left.empty())
        return bad_input(
            "folder-not-as-index", printable(left.begin()->first),
            fmt::format("stands in the folder{}, but not in its index",
                        left.size() > 1 ? fmt::format(", as {} others do", left.size() - 1) : ""),
            Next{"take it out, or shelve the package and see every finding (", propose(Act::add_to_shelf), ")"});
    return out;
}

// The index stands in the folder, and every piece it names is as it says.
Status take_by_index(const fs::path& folder, const Files& files, ReleaseToLay& out) {
    const auto text = read_text_file(folder / out.family.package->index, most_index_bytes);
    if (!text) return pass(text);
    auto release = family::read_index(out.family, *text);
    if (!release) return pass(release);
    out.release = std::move(*release);
    out.release.index_sha256 = sha256_hex(*text);
    auto sources = by_index(folder, files, out.family, out.release);
    if (!sources) return pass(sources);
    out.sources = std::move(*sources);
    return {};
}

// All files by name; their names and sizes stand for an index.
void take_as_it_is(const fs::path& folder, const Files& files, ReleaseToLay& out) {
    out.release.release =
        folder.filename().empty() ? folder.parent_path().filename().string() : folder.filename().string();
    std::string list;
    for (const auto& [path, size] : files) {
        out.sources.push_back(source(folder, "", path, size, ""));
        list += fmt::format("{}\n{}\n", path, size);
    }
    out.release.index_sha256 = sha256_hex(list);  // what the card's serial is made of
}

}  // namespace

Result<ReleaseToLay> folder_to_lay(const Workshop& shop, const std::string& family_id, const std::string& named) {
    const fs::path folder = fs::path(named).lexically_normal();
    const auto files = files_of(folder);
    if (!files) return pass(files);
    auto family = family_of(shop, family_id, folder, *files);
    if (!family) return pass(family);
    ReleaseToLay out;
    if (*family) out.family = std::move(**family);
    if (out.family.package) {
        if (const Status read = take_by_index(folder, *files, out); !read) return pass(read);
        out.remarks.add(Reason{"folder-not-vetted", Verdict::mind,
                               "Laid from a folder as its index has it; who made it, and what it claims, was not "
                               "vetted: that is done when it is shelved.",
                               printable(named), "index", Next{propose(Act::add_to_shelf, {given("package", named)})}});
    } else {
        take_as_it_is(folder, *files, out);
        out.remarks.add(
            Reason{"folder-unknown", Verdict::mind,
                   fmt::format("No family is known whose index stands there: all {} files were laid as they "
                               "are, and whether a box takes them cannot be said.",
                               files->size()),
                   printable(named), "nothing"});
    }
    out.careful = !out.family.card;
    if (out.careful) out.family.card = card::careful_rule(out.family);
    if (out.family.card->in_turn.most > 1)
        return bad_input(
            "folder-several-cards", printable(named), "is of a family that takes several cards in turn",
            Next{"shelve it (", propose(Act::add_to_shelf), "), then lay each card with ", with(wanted("card", "N"))});
    return out;
}

Result<ReleaseToLay> folder_to_audit(const Workshop& shop, const std::string& family_id, const std::string& folder) {
    auto out = folder_to_lay(shop, family_id, folder);
    if (!out) return out;
    if (out->careful) out->family.card.reset();
    if (!out->release.pieces.empty()) return out;
    out->release.index_sha256.clear();
    for (const card::SourceFile& file : out->sources) {
        auto digest = DigestStream::make("sha256");
        if (!digest) return pass(digest);
        const Status sent = file.send([&](ByteView bytes) -> Status {
            digest->update(bytes);
            return {};
        });
        if (!sent) return pass(sent);
        family::Piece piece;
        piece.name = file.path;
        piece.files.push_back({file.path, file.size, {{"sha256", digest->finish()}}, true});
        out->release.pieces.push_back(std::move(piece));
    }
    return out;
}

}  // namespace fettle::workshop
