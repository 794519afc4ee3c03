// One label as a person typed it, or as it was read off a photo: what can it have been? A label is accepted if some
// text that the family's pattern accepts can be reached by replacing characters with look-alikes. Every such reading
// within a cost bound is found, cheapest first, not only the first one.
//
// What this never does: turn a value into another only because the other is on the family's list of known values, or
// take one reading when the next is nearly as likely.
#pragma once

#include <cstddef>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "fettle/base/verdict.h"
#include "fettle/family/family.h"

namespace fettle::identity {

// How the text came to us: decides which look-alikes are likely (two cost tables, both guesses until measured).
enum class Source { typed, photo };

struct LabelText {
    std::string text;  // '?' stands for a character that cannot be read
    Source source = Source::typed;
    // Characters (0-based, counted in `text` after trimming) that somebody looked at again and vouches for: they are
    // not replaced. This is how a question is answered.
    std::vector<std::size_t> sure;
};

// One character read as another. forced_by: "character class" (the place allows no other reading of it), "check
// character" (only this reading agrees with it), or "likelihood" (20 times likelier than the next).
struct Correction {
    std::size_t position = 0;  // 0-based, in characters of the trimmed text
    std::string typed;
    std::string read;
    std::string field;  // named field it stands in, or empty
    std::string forced_by;
};

struct Reading {
    std::string text;                           // accepted by the pattern, check character right
    std::map<std::string, std::string> fields;  // named field → its characters
    std::vector<Correction> corrections;        // by position
    std::vector<std::string> unknown_values;    // fields whose value is not on the family's list
    double cost = 0;                            // sum of −ln of the odds of each replacement; 0: as typed
    double share = 0;                           // of the likelihood of all readings found, 0 … 1
};

// The one thing to ask a person next.
struct Question {
    std::string where;                 // "plate 1, character 3", "view, market", "intake"
    std::string text;                  // one sentence, for a technician at the box
    std::vector<std::string> answers;  // what can be answered, likeliest first
    double bits_left = 0;              // expected entropy over the readings after the answer
};

// Judgement: fit (as typed), mind (corrected), can't say (ask) or halt (no reading).
struct LabelAnswer {
    std::string typed;              // trimmed
    std::vector<Reading> readings;  // cheapest first; empty: halt
    bool more_readings = false;     // there are more than were kept (256)
    bool taken = false;             // the first is 20 times likelier than the next; see the judgement before using it
    std::optional<Question> question;
    // When there is no reading: how far the text can be read, and what could stand next.
    std::size_t accepted_characters = 0;
    std::string accepted_prefix;  // of the typed text
    std::string expected_next;    // in words: "a digit", "one of 0-9 X", "check character 5", "the end"
    Judgement judgement;
};

// where: what to call the text in reasons and questions ("plate 1", "view"). A rule whose pattern cannot be used (the
// family check would have said so) gives halt with reason "pattern-unusable".
LabelAnswer read_label(const family::LabelRule& rule, const LabelText& label, std::string_view where);

}  // namespace fettle::identity
