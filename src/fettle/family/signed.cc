#include "fettle/family/signed.h"

#include <fmt/core.h>

#include <algorithm>

#include "fettle/base/ed25519.h"
#include "fettle/base/text.h"
#include "fettle/family/toml_tree.h"

namespace fettle::family {
namespace {

constexpr std::string_view kOpen = "# --- signed: every byte above this line, by who holds the key ---\n";
constexpr std::string_view kBy = "# by: ", kKey = "# key: ", kSignature = "# signature: ";
constexpr std::size_t kLongest = 300;  // characters of one text

// Beginning of the block; npos: there is none.
std::size_t block_at(std::string_view toml) {
    const std::size_t at = toml.rfind(kOpen);
    return at != std::string_view::npos && (at == 0 || toml[at - 1] == '\n') ? at : std::string_view::npos;
}

// What is left of a block whose first line was changed: else a changed file would pass for one that nobody signed.
bool remains_of_a_block(std::string_view toml) {
    Lines lines(toml);
    for (std::string_view line; lines.next(line);) {
        line = trim(line);
        const auto raw = line.starts_with(kSignature) ? unhex(line.substr(kSignature.size())) : std::nullopt;
        if (raw && raw->size() == 64) return true;
    }
    return false;
}

std::string one_line(std::string_view by) {
    return printable(trim(by));
}

Bytes message(std::string_view above, const std::string& by) {
    const std::string text = fmt::format("fettle family file\n{}\n{}", by, above);
    return Bytes(text.begin(), text.end());
}

std::string block(const std::string& by, const std::string& key, const std::string& signature) {
    return fmt::format("{}{}{}\n{}{}\n{}{}\n", kOpen, kBy, by, kKey, key, kSignature, signature);
}

// The rest of the line that begins with `word`, taken off the text; empty when it begins otherwise.
std::string take(std::string_view& text, std::string_view word) {
    const std::size_t end = text.find('\n');
    if (end == std::string_view::npos || !text.starts_with(word)) return {};
    std::string out(text.substr(word.size(), end - word.size()));
    text.remove_prefix(end + 1);
    return out;
}

void look_for_long(const Node& n, const std::string& key, std::vector<std::string>& out) {
    if (n.kind == NodeKind::text && n.text.size() > kLongest &&
        n.text.find("-----BEGIN CERTIFICATE-----") == std::string::npos)
        out.push_back(fmt::format("{}: {} characters", key, n.text.size()));
    for (const Node& m : n.members) look_for_long(m, key.empty() ? m.name : key + "." + m.name, out);
    for (std::size_t i = 0; i < n.items.size(); ++i) look_for_long(n.items[i], fmt::format("{}[{}]", key, i + 1), out);
}

}  // namespace

std::string_view without_signature(std::string_view toml) {
    const std::size_t at = block_at(toml);
    return at == std::string_view::npos ? toml : toml.substr(0, at);
}

std::string sign_family(std::string_view toml, std::string_view by, ByteView seed) {
    std::string above(without_signature(toml));
    if (!above.empty() && above.back() != '\n') above += '\n';
    const std::string name = one_line(by);
    const Bytes signature = ed25519_sign(seed, message(above, name));
    return above + block(name, hex(ed25519_public(seed)), hex(signature));
}

Signature check_family_signature(std::string_view toml) {
    Signature out;
    const std::size_t at = block_at(toml);
    if (at == std::string_view::npos) {
        if (remains_of_a_block(toml)) {
            out.state = Signed::changed;
            out.why =
                "a signature stands in it, but not as it was written: was the line above it changed, or how lines end?";
            return out;
        }
        out.why = "it carries no signature: who made it is not known";
        return out;
    }
    std::string_view rest = toml.substr(at + kOpen.size());
    out.state = Signed::changed;
    out.why = "it is not as it was when it was signed";
    const std::string by = take(rest, kBy), key = take(rest, kKey), signature = take(rest, kSignature);
    const auto raw_key = unhex(key);
    const auto raw = unhex(signature);
    if (!raw_key || !raw || by != one_line(by) || toml.substr(at) != block(by, key, signature)) return out;
    if (hex(*raw_key) != key || hex(*raw) != signature) return out;  // one way to write it
    out.by = by;
    out.public_key = key;
    if (!ed25519_verify(*raw_key, message(toml.substr(0, at), by), *raw)) return out;
    out.state = Signed::good;
    out.why = "it is byte for byte as it was when it was signed";
    return out;
}

std::vector<std::string> long_texts(std::string_view toml) {
    std::vector<std::string> out;
    if (const auto tree = parse_toml(toml)) look_for_long(*tree, "", out);
    return out;
}

}  // namespace fettle::family
