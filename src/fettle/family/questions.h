// What a family file leaves open, as the shortest list of questions: asked in the order in which their answers let the
// other rooms say more.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "fettle/family/family.h"

namespace fettle::family {

struct Question {
    std::string key;                   // "act.seconds": of one entry or of all of that kind
    std::string words;                 // "How long does each state last?"
    std::vector<std::string> unlocks;  // what can be said once this and the questions before it are answered
    std::vector<std::string> towards;  // what waits for this and for a later question
    std::vector<Finding> at;           // the places in the file
};
// Greedy: each next question is the one that by itself unlocks most answers; where none does alone, the one that brings
// most of them nearest. Every finding stands under one question.
std::vector<Question> questions_of(const std::vector<Finding>& unknowns);

// "act.seconds" for "act[3].seconds", "box.plate.likely" for "box[1].plate.likely".
std::string key_without_numbers(std::string_view key);

}  // namespace fettle::family
