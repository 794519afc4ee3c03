// Negative response codes. Names are ISO 14229-1 Annex A.1's own; the clauses beside them are ours.
#include <algorithm>

#include "fettle/link/uds.h"

namespace fettle::link::uds {

namespace {

struct Nrc {
    std::uint8_t code;
    std::string_view name, words;
};
constexpr Nrc table[] = {
    {0x00, "positiveResponse", "never sent as a refusal"},
    {0x10, "generalReject", "refused without a reason"},
    {0x11, "serviceNotSupported", "the box does not offer this service"},
    {0x12, "subFunctionNotSupported", "the box does not offer this form of the service"},
    {0x13, "incorrectMessageLengthOrInvalidFormat", "the box does not take a request of this length"},
    {0x14, "responseTooLong", "the answer does not fit; ask for less at once"},
    {0x21, "busyRepeatRequest", "the box is busy; ask again later"},
    {0x22, "conditionsNotCorrect", "not in the box's present state: look at ignition, doors, supply voltage"},
    {0x24, "requestSequenceError", "something else must be asked first"},
    {0x25, "noResponseFromSubnetComponent", "a part behind the box did not answer it"},
    {0x26, "failurePreventsExecutionOfRequestedAction", "a fault in the box prevents it"},
    {0x31, "requestOutOfRange", "the box does not know what was asked for"},
    {0x33, "securityAccessDenied", "protected; left to the maker's own access"},
    {0x34, "authenticationRequired", "protected; left to the maker's own access"},
    {0x35, "invalidKey", "protected; left to the maker's own access"},
    {0x36, "exceededNumberOfAttempts", "protected, and locked for a while"},
    {0x37, "requiredTimeDelayNotExpired", "protected, and locked for a while"},
    {0x38, "secureDataTransmissionRequired", "only over a protected transmission"},
    {0x39, "secureDataTransmissionNotAllowed", "not over a protected transmission"},
    {0x3A, "secureDataVerificationFailed", "the protected transmission did not verify"},
    {0x50, "certificateVerificationFailed_invalidTimePeriod", "certificate out of its time"},
    {0x51, "certificateVerificationFailed_invalidSignature", "certificate's signature not valid"},
    {0x52, "certificateVerificationFailed_invalidChainOfTrust", "certificate's chain not trusted"},
    {0x53, "certificateVerificationFailed_invalidType", "certificate of the wrong type"},
    {0x54, "certificateVerificationFailed_invalidFormat", "certificate of the wrong format"},
    {0x55, "certificateVerificationFailed_invalidContent", "certificate's content not accepted"},
    {0x56, "certificateVerificationFailed_invalidScope", "certificate not for this purpose"},
    {0x57, "certificateVerificationFailed_invalidCertificate", "certificate not valid"},
    {0x58, "ownershipVerificationFailed", "ownership not proven to the box"},
    {0x59, "challengeCalculationFailed", "the box could not make its challenge"},
    {0x5A, "settingAccessRightsFailed", "the box could not set the access rights"},
    {0x5B, "sessionKeyCreationOrDerivationFailed", "the box could not make a session key"},
    {0x5C, "configurationDataUsageFailed", "the box could not use the configuration"},
    {0x5D, "deAuthenticationFailed", "the box could not end the authentication"},
    {0x70, "uploadDownloadNotAccepted", "transfer not accepted"},
    {0x71, "transferDataSuspended", "transfer broken off"},
    {0x72, "generalProgrammingFailure", "writing failed in the box"},
    {0x73, "wrongBlockSequenceCounter", "a block came out of order"},
    {0x78, "requestCorrectlyReceived_ResponsePending", "still at work; the answer follows"},
    {0x7E, "subFunctionNotSupportedInActiveSession", "not in this session"},
    {0x7F, "serviceNotSupportedInActiveSession", "not in this session"},
    {0x81, "rpmTooHigh", "engine turns too fast"},
    {0x82, "rpmTooLow", "engine turns too slowly"},
    {0x83, "engineIsRunning", "engine is running"},
    {0x84, "engineIsNotRunning", "engine is not running"},
    {0x85, "engineRunTimeTooLow", "engine has not run long enough"},
    {0x86, "temperatureTooHigh", "too hot"},
    {0x87, "temperatureTooLow", "too cold"},
    {0x88, "vehicleSpeedTooHigh", "vehicle moves too fast"},
    {0x89, "vehicleSpeedTooLow", "vehicle moves too slowly"},
    {0x8A, "throttlePedalTooHigh", "accelerator too far down"},
    {0x8B, "throttlePedalTooLow", "accelerator not far enough down"},
    {0x8C, "transmissionRangeNotInNeutral", "gearbox not in neutral"},
    {0x8D, "transmissionRangeNotInGear", "gearbox not in gear"},
    {0x8F, "brakeSwitchNotClosed", "brake not pressed"},
    {0x90, "shifterLeverNotInPark", "lever not in park"},
    {0x91, "torqueConverterClutchLocked", "torque converter clutch locked"},
    {0x92, "voltageTooHigh", "supply voltage too high"},
    {0x93, "voltageTooLow", "supply voltage too low"},
    {0x94, "resourceTemporarilyNotAvailable", "not free just now; ask again later"},
};

const Nrc* find(std::uint8_t code) {
    const auto* n = std::find_if(std::begin(table), std::end(table), [&](const Nrc& x) { return x.code == code; });
    return n == std::end(table) ? nullptr : n;
}
bool makers_own(std::uint8_t code) {
    return code >= 0xF0 && code <= 0xFE;
}

}  // namespace

std::string_view nrc_name(std::uint8_t code) {
    if (const Nrc* n = find(code)) return n->name;
    return makers_own(code) ? "maker's own" : "reserved";
}

std::string_view nrc_words(std::uint8_t code) {
    if (const Nrc* n = find(code)) return n->words;
    return makers_own(code) ? "a condition that only the maker names" : "a code that the standard leaves open";
}

}  // namespace fettle::link::uds
