#include "fettle/shelf/vet.h"

#include <fmt/core.h>

#include <algorithm>
#include <array>
#include <set>

#include "fettle/base/text.h"
#include "fettle/shelf/names.h"

namespace fettle::shelf {
namespace {

Reason halt(std::string code, std::string where, std::string text, std::string rests_on) {
    return {std::move(code), Verdict::halt, std::move(text), printable(where), std::move(rests_on)};
}
Reason mind(std::string code, std::string where, std::string text, std::string rests_on) {
    return {std::move(code), Verdict::mind, std::move(text), printable(where), std::move(rests_on)};
}

// What desktops leave behind on any medium they see; it is never shelved, so it harms nothing.
bool desktop_leftover(std::string_view path) {
    const std::string_view top = path.substr(0, path.find('/'));
    const std::string_view last = path.substr(path.rfind('/') + 1);
    return top == "__MACOSX" || top == "System Volume Information" || last == "Thumbs.db" || last == "desktop.ini" ||
           last == ".DS_Store" || last.starts_with("._") || top == ".Trashes" || top == ".Spotlight-V100" ||
           top == ".fseventsd" || top.starts_with(".Trash-");
}

bool archive_name(std::string_view path) {
    static constexpr std::array<std::string_view, 9> ends = {".zip", ".7z",  ".tar", ".tgz", ".gz",
                                                             ".xz",  ".zst", ".rar", ".bz2"};
    return std::any_of(ends.begin(), ends.end(), [&](std::string_view e) { return path.ends_with(e); });
}

// Why the index is not where it must be, as far as the members tell.
Reason no_index(const std::vector<Member>& members, const std::string& index) {
    for (const Member& m : members)
        if (m.kind == MemberKind::file && m.path.ends_with("/" + index) &&
            std::count(m.path.begin(), m.path.end(), '/') == std::count(index.begin(), index.end(), '/') + 1)
            return halt("index-one-folder-deep", m.path,
                        fmt::format("the whole release sits under one extra folder, \"{}\"; name that folder",
                                    printable(m.path.substr(0, m.path.find('/')))),
                        "file names");
    for (const Member& m : members)
        if (m.kind == MemberKind::file && archive_name(m.path))
            return halt("nested-archive", m.path,
                        fmt::format("an unopened archive instead of a release; \"{}\" was expected at the top", index),
                        "file names");
    return halt("index-missing", index, "the index is not in the package; for this family it stands at the top",
                "family file");
}

std::string strongest(const std::map<std::string, std::string>& digests) {
    for (const char* name : {"sha512", "sha256", "sha1", "md5", "crc32"})
        if (digests.contains(name)) return name;
    return "";
}

}  // namespace

std::map<std::string, family::PieceFile> listed_files(const family::Release& release) {
    std::map<std::string, family::PieceFile> out;
    for (const family::Piece& p : release.pieces)
        for (const family::PieceFile& f : p.files) out.emplace(f.path, f);
    return out;
}

Judgement vet_members(const std::vector<Member>& members, const std::string& index) {
    Judgement j;
    std::set<std::string> seen;
    std::vector<std::string> paths;
    bool has_index = false;
    for (const Member& m : members) {
        const bool leftover = desktop_leftover(m.path);
        if (!leftover)
            for (Reason& r : check_path(m.path)) j.add(std::move(r));
        if (m.kind == MemberKind::link)
            j.add(halt("member-link", m.path, "is a link; a package holds plain files and folders only", "file kind"));
        if (m.kind == MemberKind::device)
            j.add(halt("member-device", m.path, "is a device or pipe; a package holds plain files and folders only",
                       "file kind"));
        if (m.kind == MemberKind::encrypted)
            j.add(halt("archive-encrypted", m.path, "is encrypted and cannot be looked at", "archive"));
        const bool fresh = seen.insert(m.path).second;
        if (!fresh && m.kind != MemberKind::folder)
            j.add(halt("file-twice", m.path, "stands twice in the package", "archive"));
        if (fresh && !leftover) paths.push_back(m.path);
        has_index = has_index || (m.path == index && m.kind == MemberKind::file);
    }
    for (Reason& r : check_clashes(paths)) j.add(std::move(r));
    if (!has_index) j.add(no_index(members, index));
    return j;
}

Judgement vet_claims(const family::Family& family, const family::Release& release) {
    Judgement j;
    if (release.family.empty() && !family.package->release_fields.contains("family"))
        j.add(mind("family-not-told", "index",
                   fmt::format("the index does not say for which family it is; it reads as one of {}", family.id),
                   "index"));
    else if (release.family != family.id)
        j.add(halt("wrong-family", "index",
                   fmt::format("the index says family \"{}\"; this is {}", printable(release.family), family.id),
                   "index"));
    const auto markets = family.view.values.find("market");
    for (const std::string& m : release.markets)
        if (markets != family.view.values.end() && !markets->second.contains(m))
            j.add(mind("unknown-market", "index",
                       fmt::format("market \"{}\" is not known to this family", printable(m)), "family file"));
    if (!family::compare_versions(family.order, release.release, release.release))
        j.add(mind("version-form", "index",
                   fmt::format("\"{}\" is no version of this family's form: where it stands among others can't be told",
                               printable(release.release)),
                   "family file"));
    j.add(vet_order(family, release));
    std::map<std::string, const family::PieceFile*> first;
    std::vector<std::string> paths;
    std::size_t weak = 0, none = 0;
    for (const family::Piece& p : release.pieces) {
        for (const family::PieceFile& f : p.files) {
            const auto [at, fresh] = first.emplace(f.path, &f);
            if (!fresh) {
                if (at->second->size != f.size || at->second->digests != f.digests)
                    j.add(
                        halt("index-path-twice", f.path, "stands twice in the index, with different content", "index"));
                continue;
            }
            paths.push_back(f.path);
            if (archive_name(f.path))
                j.add(mind("archive-within", f.path, "is an archive itself: it is kept as it is and not looked into",
                           "file name"));
            for (Reason& r : check_path(f.path)) j.add(std::move(r));
            const std::string best = strongest(f.digests);
            if (best.empty()) ++none;
            if (best == "sha1" || best == "md5" || best == "crc32") ++weak;
        }
    }
    for (const std::string* own : {&family.package->index, &family.package->signature_file}) {
        if (own->empty()) continue;
        if (first.contains(*own))
            j.add(halt("index-path-twice", *own, "the index lists itself or its signature as a piece", "index"));
        paths.push_back(*own);
    }
    for (Reason& r : check_clashes(paths)) j.add(std::move(r));
    if (weak > 0)
        j.add(
            mind("digest-weak", "index",
                 fmt::format("whole against accident, not against intent: for {} of {} files the index gives no digest "
                             "stronger than SHA-1, MD5 or CRC-32",
                             weak, first.size()),
                 "index"));
    if (none > 0)
        j.add({"digest-none", Verdict::cant_say,
               fmt::format("for {} of {} files the index gives no digest at all: only their size can be compared", none,
                           first.size()),
               "index", "index"});
    return j;
}

Judgement vet_files(const family::Family& family, const family::Release& release, const std::vector<Member>& members) {
    Judgement j;
    const auto listed = listed_files(release);
    std::set<std::string> there;
    for (const Member& m : members) {
        if (m.kind != MemberKind::file) continue;
        there.insert(m.path);
        if (m.path == family.package->index || m.path == family.package->signature_file) continue;
        const auto at = listed.find(m.path);
        if (at == listed.end()) {
            if (desktop_leftover(m.path))
                j.add(mind("desktop-leftover", m.path, "was left by a desktop system; it is not shelved", "file name"));
            else
                j.add(halt("file-surplus", m.path, "is in the package but not in the index: nothing vouches for it",
                           "index"));
        } else if (m.size != at->second.size) {
            j.add(halt("size-differs", m.path,
                       fmt::format("has {} bytes in the package, {} in the index", m.size, at->second.size), "index"));
        }
    }
    for (const auto& [path, file] : listed)
        if (!there.contains(path))
            j.add(halt("file-missing", path,
                       fmt::format("is in the index ({}) but not in the package", human_bytes(file.size)), "index"));
    return j;
}

Judgement vet_content(const family::PieceFile& listed, const Content& content) {
    Judgement j;
    if (content.longer) {
        j.add(halt("size-bomb", listed.path,
                   fmt::format("goes on past the {} bytes of the index; reading was stopped", listed.size), "content"));
        return j;
    }
    if (content.size != listed.size) {
        j.add(halt("size-differs", listed.path, fmt::format("has {} bytes, {} in the index", content.size, listed.size),
                   "content"));
        return j;
    }
    for (const auto& [algorithm, digest] : listed.digests) {
        const auto found = content.digests.find(algorithm);
        if (found != content.digests.end() && found->second != digest)
            j.add(halt("digest-differs", listed.path,
                       fmt::format("is not what the index says: {} {}… instead of {}…", algorithm,
                                   found->second.substr(0, 12), digest.substr(0, 12)),
                       algorithm));
    }
    return j;
}

}  // namespace fettle::shelf
