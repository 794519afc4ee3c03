// For asking less at intake: which family a package is for. Before its signature nothing in it is believed, so a text
// is read only where there is no signature that could tell.
#include <algorithm>
#include <map>

#include "fettle/shelf/package_texts.h"
#include "fettle/shelf/shelf.h"

namespace fettle::shelf {
namespace fs = std::filesystem;
namespace {

using Candidates = std::vector<const family::Family*>;
using FoundTexts = std::map<std::string, std::string>;  // by path

// Index and signature of every candidate, in one visit: a compressed tar is unpacked for each.
FoundTexts texts_of(Package& package, const Candidates& candidates) {
    FoundTexts texts;
    std::vector<bool> wanted;
    for (const Member& m : package.members()) {
        const bool is_wanted =
            m.kind == MemberKind::file && std::any_of(candidates.begin(), candidates.end(), [&](const auto* f) {
                return f->package->index == m.path || f->package->signature_file == m.path;
            });
        wanted.push_back(is_wanted);
        if (is_wanted) texts[m.path];  // made here: two threads may visit
    }
    const auto done = package.visit(wanted, [&](std::size_t i, const Read& read) {
        const std::string& path = package.members()[i].path;
        return read_whole(read, largest_index, path, texts.at(path));
    });
    return done ? texts : FoundTexts();
}

std::optional<std::string> text_at(const FoundTexts& texts, const std::string& path) {
    const auto at = texts.find(path);
    return at == texts.end() ? std::nullopt : std::optional(at->second);
}

std::vector<std::string> told_by(const Candidates& candidates, const FoundTexts& texts, bool index_only, UnixMs now) {
    if (candidates.size() == 1) return {candidates.front()->id};
    std::vector<std::string> proven, named, silent;  // silent: reads well as theirs, but their indexes name no family
    for (const family::Family* f : candidates) {
        const auto index = text_at(texts, f->package->index);
        if (!index) continue;
        const auto signature =
            f->package->signature_file.empty() ? std::nullopt : text_at(texts, f->package->signature_file);
        const auto check = family::check_signature(*f->package, *index, signature, now);
        if (check.state == SignatureState::good) proven.push_back(f->id);
        const bool signs = !f->package->signature_form.empty();
        if (check.state != SignatureState::absent || (signs && f->package->unsigned_refused && !index_only)) continue;
        if (f->package->release_fields.contains("family")) {
            if (family::family_named_in(*f->package, *index) == f->id) named.push_back(f->id);
        } else if (family::read_index(*f, *index)) {
            silent.push_back(f->id);
        }
    }
    return !proven.empty() ? proven : !named.empty() ? named : silent;
}

}  // namespace

Result<std::shared_ptr<Package>> open_for(const std::vector<family::Family>& families, const fs::path& path) {
    std::set<std::string> first;
    for (const family::Family& f : families)
        if (f.package) first.insert({f.package->index, f.package->signature_file});
    auto package = open_package(path, first);
    if (!package) return pass(package);
    return std::shared_ptr<Package>(std::move(*package));
}

std::vector<std::string> families_of_index(const std::vector<family::Family>& families, const fs::path& path,
                                           UnixMs now) {
    Candidates candidates;
    FoundTexts texts;
    for (const family::Family& f : families) {
        if (!f.package) continue;
        const auto its = texts_of_index(path, *f.package);
        if (!its) continue;
        candidates.push_back(&f);
        texts[f.package->index] = *its->index;
        if (its->signature) texts[f.package->signature_file] = *its->signature;
    }
    return told_by(candidates, texts, true, now);
}

std::vector<std::string> named_families(const std::vector<family::Family>& families, Package& package, UnixMs now) {
    Candidates candidates;
    for (const family::Family& f : families)
        if (f.package && std::any_of(package.members().begin(), package.members().end(), [&](const Member& m) {
                return m.kind == MemberKind::file && m.path == f.package->index;
            }))
            candidates.push_back(&f);
    return told_by(candidates, candidates.size() > 1 ? texts_of(package, candidates) : FoundTexts(), false, now);
}

}  // namespace fettle::shelf
