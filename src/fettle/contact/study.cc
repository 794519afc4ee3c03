// Which text of a package is its index? Every text is read once and scored by how many different files of the package
// it names; the few best are taken apart in each form that is known. Nothing is concluded from a file's own name.
#include "fettle/contact/study.h"

#include <fmt/core.h>

#include <algorithm>
#include <atomic>
#include <map>
#include <set>
#include <tuple>

#include "fettle/base/text.h"
#include "fettle/contact/hunt.h"

namespace fettle::contact {
namespace {

constexpr std::size_t head = 4096, largest_text = 32u << 20, most_held = 192u << 20, most_tried = 12;

// UTF-8 but for a character cut at the end, and hardly a control character.
bool looks_like_text(std::string_view s) {
    if (s.empty()) return false;
    s = without_mark(s);
    std::size_t odd = 0;
    for (std::size_t at = 0; at < s.size();) {
        const std::size_t n = utf8_length(s.substr(at));
        if (n == 0) {
            if (s.size() - at < 4 && s.size() + 4 > head) break;
            return false;
        }
        const unsigned char c = static_cast<unsigned char>(s[at]);
        if (c == 0) return false;
        odd += c < 0x20 && c != '\n' && c != '\r' && c != '\t';
        at += n;
    }
    return odd * 200 <= s.size();
}

// How many different files the words of the text name.
std::size_t names_in(std::string_view text, const Names& names) {
    std::set<std::string, std::less<>> seen;
    for (const char* stops : {" \t\r\n\"'<>=,;()[]{}", "\r\n\"'<>,;\t"}) {
        const std::string_view between = stops;
        for (std::size_t at = 0; at < text.size() && seen.size() < 1000;) {
            const std::size_t end = std::min(text.find_first_of(between, at), text.size());
            std::string_view word = text.substr(at, end - at);
            if (word.ends_with(':')) word.remove_suffix(1);
            if (word.size() > 2 && word.size() < 4096 && names.is_name(word)) seen.emplace(word);
            at = end + 1;
        }
    }
    return seen.size();
}

struct Text {
    std::size_t member = 0;
    std::string text;
    std::size_t names = 0;
};

Result<std::vector<Text>> texts_of(shelf::Package& package, const Names& names, Study& out) {
    const auto& members = package.members();
    std::vector<std::string> texts(members.size());
    std::vector<char> said(members.size());  // 1: a text; 2: too large; 3: no more room
    std::vector<bool> wanted(members.size());
    for (std::size_t i = 0; i < members.size(); ++i)
        wanted[i] = members[i].kind == shelf::MemberKind::file && members[i].size > 0;
    std::atomic<std::size_t> held{0};
    const auto done = package.visit(wanted, [&](std::size_t i, const shelf::Read& read) -> Status {
        std::string text(head, '\0');
        std::size_t have = 0;
        const auto fill = [&]() -> Status {
            while (have < text.size()) {
                const auto n = read(ByteSpan(reinterpret_cast<Byte*>(text.data()) + have, text.size() - have));
                if (!n) return tl::unexpected<Error>(n.error());
                if (*n == 0) break;
                have += *n;
            }
            return {};
        };
        if (auto ok = fill(); !ok) return ok;
        if (!looks_like_text(std::string_view(text).substr(0, have))) return {};
        said[i] = 1;
        while (have == text.size() && text.size() <= largest_text) {
            text.resize(std::min(text.size() * 4, largest_text + 1));
            if (auto ok = fill(); !ok) return ok;
        }
        if (have > largest_text) {
            said[i] = 2;
            return {};
        }
        text.resize(have);
        if (names_in(text, names) == 0) return {};
        if ((held += have) > most_held) {
            said[i] = 3;
            return {};
        }
        texts[i] = std::move(text);
        return {};
    });
    if (!done) return tl::unexpected<Error>(done.error());
    std::vector<Text> found;
    for (std::size_t i = 0; i < members.size(); ++i) {
        out.texts += said[i] != 0;
        if (said[i] == 2)
            out.not_read.push_back(fmt::format("{} ({}): larger than the {} that are read of a text",
                                               printable(members[i].path), human_bytes(members[i].size),
                                               human_bytes(largest_text)));
        if (said[i] == 3)
            out.not_read.push_back(fmt::format("{}: more texts than the {} that are held at once",
                                               printable(members[i].path), human_bytes(most_held)));
        if (!texts[i].empty()) found.push_back({i, std::move(texts[i]), 0});
    }
    for (Text& t : found) t.names = names_in(t.text, names);
    std::sort(found.begin(), found.end(), [](const Text& a, const Text& b) {
        return a.names != b.names ? a.names > b.names : a.member < b.member;
    });
    for (std::size_t i = most_tried; i < found.size(); ++i)
        if (i == most_tried)
            out.not_read.push_back(fmt::format("{} further texts that name fewer files than the {} tried",
                                               found.size() - most_tried, most_tried));
    if (found.size() > most_tried) found.resize(most_tried);
    return found;
}

// The table as an index, if one of its fields leads to files.
std::optional<Index> index_of(const Text& text, const Reading& reading, const Table& table, const Names& names,
                              const std::vector<shelf::Member>& members) {
    Index best;
    const std::string& path = members[text.member].path;
    for (std::size_t c = 0; c < table.fields.size(); ++c) {
        std::vector<std::optional<std::size_t>> files(table.rows.size());
        std::size_t named = 0, filled = 0;
        Via via = Via::path;
        std::set<std::size_t> covered;
        for (std::size_t r = 0; r < table.rows.size(); ++r) {
            filled += !table.rows[r][c].empty();
            const auto found = names.find(table.rows[r][c], path);
            if (!found || found->member == text.member) continue;
            files[r] = found->member;
            ++named;
            via = std::max(via, found->via);
            covered.insert(found->member);
        }
        // Half of its values at least are files, or ten files: a chance word is no path field.
        if (covered.empty() || (named * 2 < filled && covered.size() < 10) || covered.size() <= best.covered) continue;
        best.path_field = table.fields[c];
        best.files = std::move(files);
        best.named = named;
        best.covered = covered.size();
        best.via = via;
    }
    if (best.covered == 0) return std::nullopt;
    best.member = text.member;
    best.path = path;
    best.form = reading.form;
    best.separator = reading.separator;
    best.headless = reading.headless;
    best.table = table;
    best.scalars = reading.scalars;
    if (const std::size_t at = table.address.rfind("/*/"); at != std::string::npos)
        for (const Table& t : reading.tables)
            if (t.address == table.address.substr(0, at)) best.parent = t;
    for (const std::string& field : table.fields) {
        const auto c = static_cast<std::size_t>(&field - table.fields.data());
        Counted sizes;
        std::size_t filled = 0, versions = 0;
        std::set<std::string_view> different;
        bool digests = false;
        for (std::size_t r = 0; r < table.rows.size(); ++r) {
            const std::string& cell = table.rows[r][c];
            if (cell.empty()) continue;
            ++filled;
            different.insert(cell);
            versions += is_version(cell);
            digests = digests || digest_text(cell.substr(0, cell.find(' '))).has_value();
            if (!best.files[r]) continue;
            ++sizes.looked_at;
            sizes.agree += is_size(cell, members[*best.files[r]].size);
        }
        if (field == best.path_field || filled == 0) continue;
        if (different.size() == 1 && filled == table.rows.size() && filled > 1 &&
            (reading.form == "csv" || reading.form == "tsv"))
            best.scalars.push_back({field, table.rows[0][c]});
        if (sizes.agree * 2 > sizes.looked_at && sizes.agree > best.sizes.agree) {
            best.size_field = field;
            best.sizes = sizes;
        } else if (versions == filled) {
            best.version_fields.push_back(field);
        } else if (digests) {
            continue;  // the hunt's
        } else if (different.size() == table.rows.size() && filled == table.rows.size() && filled > 1) {
            best.unique_fields.push_back(field);
        } else if (different.size() == 1 && filled == table.rows.size()) {
            best.constant_fields.push_back(field);
        } else {
            best.other_fields.push_back(field);
        }
    }
    return best;
}

void shape_of(const std::vector<shelf::Member>& members, Study& out) {
    for (const shelf::Member& m : members) {
        if (m.kind != shelf::MemberKind::file) continue;
        ++out.files;
        out.bytes += m.size;
        if (m.size >= out.largest) {
            out.largest = m.size;
            out.largest_path = m.path;
        }
        if (m.path.size() > out.longest_path.size()) out.longest_path = m.path;
        out.deepest = std::max(out.deepest, static_cast<std::size_t>(std::count(m.path.begin(), m.path.end(), '/')));
    }
}

std::string called(const Index& x) {
    return printable(x.path) + (x.table.address.empty() ? "" : " " + printable(x.table.address));
}

// What an index says of each file in a field of digests of whole files: member → digest.
std::map<std::size_t, std::string> claims_of(const Index& x, const DigestField& d) {
    std::map<std::size_t, std::string> out;
    const auto at = std::find(x.table.fields.begin(), x.table.fields.end(), d.field);
    if (!d.making || d.making->of != Making::Of::whole || at == x.table.fields.end()) return out;
    for (std::size_t r = 0; r < x.files.size(); ++r)
        if (x.files[r])
            if (const auto digest = digest_text(x.table.rows[r][static_cast<std::size_t>(at - x.table.fields.begin())]))
                out.emplace(*x.files[r], digest->algorithm + " " + hex(digest->bytes));
    return out;
}

// An index disagrees with the files where its digests or sizes do not hold; two disagree with each other where they
// give another digest of the same kind for the same file: that needs no file to be read, so it is asked of all.
void compare(const std::vector<shelf::Member>& members, Study& s) {
    for (const Index& x : s.indexes) {
        for (const DigestField& d : x.digests) {
            const Counted& c = d.over_all ? *d.over_all : d.sample;
            if (d.making && !c.all())
                s.disagreements.push_back(fmt::format("{} field \"{}\": only {} of {}{} agree ({})", called(x),
                                                      printable(d.field), c.agree, c.looked_at,
                                                      d.over_all ? "" : " in the sample", d.making->words()));
        }
        if (x.sizes.looked_at > x.sizes.agree)
            s.disagreements.push_back(fmt::format("{}: only {} of {} sizes are those of the files", called(x),
                                                  x.sizes.agree, x.sizes.looked_at));
    }
    const Index& best = s.indexes.front();
    for (const DigestField& d : best.digests) {
        const auto ours = claims_of(best, d);
        for (std::size_t i = 1; i < s.indexes.size() && !ours.empty(); ++i)
            for (const DigestField& other : s.indexes[i].digests) {
                if (!other.making || other.making->algorithm != d.making->algorithm) continue;
                std::size_t both = 0, differ = 0, first = 0;
                for (const auto& [member, digest] : claims_of(s.indexes[i], other)) {
                    const auto mine = ours.find(member);
                    if (mine == ours.end()) continue;
                    ++both;
                    if (mine->second != digest && differ++ == 0) first = member;
                }
                if (differ)
                    s.disagreements.push_back(fmt::format(
                        "{} and {} give another {} for {} of the {} files that both name, {} first", called(best),
                        called(s.indexes[i]), d.making->words(), differ, both, printable(members[first].path)));
            }
    }
}

}  // namespace

Result<Study> study(shelf::Package& package, const std::string& name) {
    Study out;
    out.name = name;
    shape_of(package.members(), out);
    const Names names(package.members());
    auto texts = texts_of(package, names, out);
    if (!texts) return tl::unexpected<Error>(texts.error());
    for (const Text& text : *texts) {
        std::optional<Index> best_of_text;
        for (const Reading& reading : readings_of(text.text, [&](std::string_view w) { return names.is_name(w); }))
            for (const Table& table : reading.tables) {
                auto index = index_of(text, reading, table, names, package.members());
                if (!index) continue;
                // A weaker reading of a text that a better one covers as well says nothing new.
                if (reading.form == "words" && best_of_text && best_of_text->covered >= index->covered) continue;
                if (!best_of_text || index->covered > best_of_text->covered) best_of_text = index;
                out.indexes.push_back(std::move(*index));
            }
    }
    if (auto ok = hunt_on_sample(package, out.indexes); !ok) return tl::unexpected<Error>(ok.error());
    const auto proven = [](const Index& x) { return !x.digests.empty() && x.digests.front().making ? 1 : 0; };
    std::sort(out.indexes.begin(), out.indexes.end(), [&](const Index& a, const Index& b) {
        // What names many files counts, what can be proven about them counts as much again.
        const std::size_t x = a.covered * static_cast<std::size_t>(1 + proven(a)),
                          y = b.covered * static_cast<std::size_t>(1 + proven(b));
        if (x != y) return x > y;
        if (a.sizes.agree != b.sizes.agree) return a.sizes.agree > b.sizes.agree;
        const bool a_words = a.form == "words", b_words = b.form == "words";
        if (a_words != b_words) return b_words;
        const std::size_t bytes_a = proven(a) ? a.digests.front().making->algorithm.size() : 0;
        const std::size_t bytes_b = proven(b) ? b.digests.front().making->algorithm.size() : 0;
        if (bytes_a != bytes_b) return bytes_a > bytes_b;  // "sha256" and "sha512" before "sha1", "crc32" and "md5"
        return std::tie(a.path, a.table.address, a.form) < std::tie(b.path, b.table.address, b.form);
    });
    if (out.indexes.empty()) return out;
    Index& best = out.indexes.front();
    for (Text& text : *texts)
        if (text.member == best.member) best.text = std::move(text.text);
    if (auto ok = hunt_over_all(package, best); !ok) return tl::unexpected<Error>(ok.error());
    std::set<std::size_t> named;
    for (const auto& f : best.files)
        if (f) named.insert(*f);
    named.insert(best.member);
    out.outside = out.files - named.size();
    for (std::size_t i = 0; i < package.members().size() && out.outside_first.size() < 5; ++i) {
        const shelf::Member& m = package.members()[i];
        if (m.kind == shelf::MemberKind::file && !named.contains(i))
            out.outside_first.push_back(fmt::format("{} ({})", printable(m.path), human_bytes(m.size)));
    }
    compare(package.members(), out);
    return out;
}

}  // namespace fettle::contact
