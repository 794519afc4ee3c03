#include "fettle/show/prove.h"

#include <fmt/core.h>

#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/show/faults.h"

namespace fettle::show {
namespace {

using prove::PieceProof;
using prove::PieceState;

std::string piece_line(const PieceProof& p) {
    return fmt::format("  {:<22} {} {}: {}{}\n", prove::words(p.state), p.box, p.name,
                       p.expected.empty() ? "none" : p.expected + " expected",
                       p.found.empty() ? "" : ", " + printable(p.found) + " found");
}

// Without `full` the first five that are not plainly as planned.
std::string pieces_as_text(const prove::Answer& proof, bool full) {
    std::string out;
    int shown = 0, more = 0;
    for (const PieceProof& p : proof.pieces) {
        const bool plain =
            p.state == PieceState::as_expected || p.state == PieceState::inferred || p.state == PieceState::not_read;
        if (plain && !full) continue;
        if (!full && shown == 5) {
            ++more;
            continue;
        }
        ++shown;
        out += piece_line(p);
    }
    if (more > 0) out += fmt::format("  and {} more: --full\n", more);
    return out;
}

Proposal way_to(prove::Give give, const std::string& number) {
    switch (give) {
        case prove::Give::as_left:
            return propose(Act::after, {job(number), wanted("release", "R"), wanted("typed", "FILE")});
        case prove::Give::tally: return propose(Act::mark, {job(number), wanted("tally", "COUNTS")});
        case prove::Give::end_of_run: return propose(Act::mark, {job(number), given("event", "ended")});
        case prove::Give::end_in_doubt: return propose(Act::watch, {job(number), flag("once")});
        case prove::Give::trial: return propose(Act::prove, {job(number), wanted("tried", "N")});
    }
    return {};
}

// How what is missing can be given; only that.
Page given_by(const prove::Answer& proof, const std::string& number) {
    Page out;
    for (const prove::Give g : proof.to_give) {
        out += out.empty() ? "  given by: " : "; ";
        out += way_to(g, number);
    }
    if (!out.empty()) out += "\n";
    return out;
}

json::array pieces_json(const prove::Answer& proof) {
    json::array out;
    for (const PieceProof& p : proof.pieces)
        out.push_back({{"box", p.box},
                       {"name", p.name},
                       {"expected", p.expected},
                       {"found", p.found},
                       {"state", json_word(prove::words(p.state))}});
    return out;
}

}  // namespace

Answer as_left(const workshop::AsLeft& left) {
    Answer a;
    const std::size_t n = left.list.pieces.size();
    a.headline = fmt::format("As left: {}{} ({}).", left.release.empty() ? "" : printable(left.release) + ", ",
                             n == 1 ? "1 piece" : fmt::format("{} pieces", n), words(left.list.origin));
    a.judgement = left.judgement;
    json::array pieces;
    for (const Installed& p : left.list.pieces)
        pieces.push_back({{"box", p.box}, {"name", p.name}, {"version", p.version}});
    a.data = {{"origin", code(left.list.origin)}, {"installed", std::move(pieces)}};
    if (!left.release.empty()) a.data["release"] = left.release;
    if (left.history) a.data["history"] = texts_as_json(*left.history);
    return a;
}

Answer proved(const workshop::Proved& p, bool full) {
    Answer a;
    a.level = p.level;
    a.judgement = p.judgement;
    a.headline = p.proof.sentence;
    // The pieces may be proved while the answer as a whole is not: then the first line says why.
    if (p.proof.proof == prove::Proof::proved && p.faults.judgement.verdict() > Verdict::mind)
        a.headline += " " + p.faults.sentence;
    a.text = pieces_as_text(p.proof, full);
    for (const std::string& m : p.proof.missing) a.text += "  wanted for proof: " + m + "\n";
    json::array to_try;
    for (const workshop::ToTry& t : p.to_try) {
        a.text += fmt::format("  to try, {}: {}\n", t.number, t.words);
        to_try.push_back({{"number", t.number}, {"words", t.words}});
    }
    a.text.append(given_by(p.proof, p.job));
    a.text += faults_as_text(p.faults);
    a.data = {{"proof", prove::words(p.proof.proof)}, {"release", p.release},
              {"pieces", pieces_json(p.proof)},       {"missing", texts_as_json(p.proof.missing)},
              {"to_try", std::move(to_try)},          {"faults", faults_as_json(p.faults)}};
    return a;
}

}  // namespace fettle::show
