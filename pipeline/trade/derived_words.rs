//! The closed lists of words that derived tables give, one enum a list.
//!
//! A query says what it found in these words and in numbers; how that reads as a sentence is left to
//! the report. The lists the lake stores are in [`super::words`].

use super::words::word_list;

word_list! {
    /// What there is to do next in a recovery, in the order of the steps.
    RecoveryStep, "recovery step" {
        ChargeAndTest = "charge and test",
        RestoreSupply = "restore supply",
        /// The battery tested fit, so something else was behind the trouble.
        CheckCharging = "check charging",
        SaveCodes = "save codes",
        ClearCodes = "clear codes",
        ProtectedClear = "look for protected clear",
        ProveByScan = "prove by scan",
    }
}

word_list! {
    /// What a recovery began with.
    RecoveryOpening, "recovery opening" {
        Flood = "flood",
        NoStart = "no-start",
    }
}

word_list! {
    /// What bears on a recovery beside its opening.
    RecoveryEvent, "recovery event" {
        SupplyTested = "supply tested",
        SupplyRestored = "supply restored",
        CodesCleared = "codes cleared",
        Scan = "scan",
    }
}

word_list! {
    /// How a recovery ended.
    RecoveryEnd, "recovery end" {
        Proven = "proven",
        AnotherCase = "another case",
        LeftFleet = "left fleet",
        /// Nobody settled it in the time set after its last trouble.
        NotFollowedUp = "not followed up",
    }
}

word_list! {
    /// What to mind while a vehicle is brought back.
    RecoveryCaution, "recovery caution" {
        SaveBeforeClearing = "save before clearing",
        ClearedUnsaved = "cleared unsaved",
        /// AGM, gel and lithium batteries are spoilt by a charger made for others.
        SuitableCharger = "suitable charger",
        HighVoltage = "high voltage",
    }
}

word_list! {
    /// Why many codes came at once.
    FloodCause, "flood cause" {
        /// The 12 V system sagged.
        Supply = "supply",
        /// One bus or module dropped out.
        Network = "network",
        Reprogramming = "reprogramming",
        ScanArtefact = "scan artefact",
        Unexplained = "unexplained",
    }
}

word_list! {
    /// A sign of what caused a flood of codes. What its value counts is said beside it.
    FloodSign, "flood sign" {
        /// Codes of low supply voltage.
        LowVoltageCodes = "low-voltage codes",
        /// Different modules that lost communication named.
        ManyModulesLost = "many modules lost",
        /// The supply during the scan, volts.
        LowSupply = "low supply",
        TestedDischarged = "tested discharged",
        TestedWorn = "tested worn",
        TestedFailed = "tested failed",
        DidNotStart = "did not start",
        ChargedOrReplaced = "charged or replaced",
        /// The battery's age, days.
        OldBattery = "old battery",
        /// Modules that miss the same one.
        OneModuleLost = "one module lost",
        /// Modules that say their bus is down.
        BusDown = "bus down",
        NoLowVoltageCode = "no low-voltage code",
        /// Codes of lost communication though nearly all modules answered.
        LostThoughAnswered = "lost though answered",
        /// Faults that were there during the scan.
        FailingNow = "failing now",
        PutDownToNetwork = "put down to network",
        ReprogrammedThen = "reprogrammed then",
        ReprogrammedBefore = "reprogrammed before",
        ModuleNotSetUp = "module not set up",
        /// Share of the modules asked that answered.
        FewAnswered = "few answered",
        OnlyPending = "only pending",
        GoneByItself = "gone by itself",
        /// Share of the codes that have to do with neither supply nor network.
        OtherCodes = "other codes",
        NothingClear = "nothing clear",
    }
}

word_list! {
    /// How hard a depot's year is on batteries, by the constant temperature of the same speed of ageing.
    HeatBand, "heat band" {
        Cool = "cool",
        Mild = "mild",
        Warm = "warm",
        Hot = "hot",
    }
}

impl HeatBand {
    /// The least and the greatest temperature of the band, degrees Celsius; an end left open is `None`.
    pub const fn limits_c(self) -> (Option<f64>, Option<f64>) {
        match self {
            HeatBand::Cool => (None, Some(15.0)),
            HeatBand::Mild => (Some(15.0), Some(20.0)),
            HeatBand::Warm => (Some(20.0), Some(25.0)),
            HeatBand::Hot => (Some(25.0), None),
        }
    }
}

word_list! {
    /// What an estimate rests on.
    EstimateBasis, "basis of an estimate" {
        /// Nothing was watched long enough: all of it is assumed.
        NothingWatched = "nothing watched",
        NoneFailed = "none failed",
        FewFailed = "few failed",
        FewTests = "few tests",
        ThisFleet = "this fleet",
    }
}

word_list! {
    /// By what the day a battery was put in is known.
    InstallEvidence, "evidence of an installation" {
        WorkOrder = "work order",
        Register = "register",
        DateCode = "date code",
        FirstDayOnTheRoad = "first day on the road",
    }
}

word_list! {
    /// Whether a battery came with the vehicle.
    InstallSource, "source of a battery" {
        Factory = "factory",
        Replacement = "replacement",
    }
}

word_list! {
    /// By what batteries, vehicles and floods are grouped.
    CohortKind, "kind of cohort" {
        Fleet = "fleet",
        Chemistry = "chemistry",
        BatteryGroup = "battery group",
        Model = "model",
        Powertrain = "powertrain",
        Depot = "depot",
        Shop = "shop",
        Technician = "technician",
        Operation = "operation",
        InstallQuarter = "install quarter",
        Source = "source",
        Heat = "heat",
        Week = "week",
        ShopInFourWeeks = "shop in four weeks",
        ModelInFourWeeks = "model in four weeks",
    }
}

word_list! {
    /// A group that is not named by a fact.
    CohortName, "cohort" {
        AllBatteries = "all batteries",
        AllVehicles = "all vehicles",
        WholeFleet = "whole fleet",
        NotKnown = "not known",
    }
}

word_list! {
    /// A stretch of time that rates are of.
    Period, "period" {
        All = "all",
        LastYear = "last 52 weeks",
        YearBefore = "52 weeks before",
    }
}

word_list! {
    /// How many modules a scan asked.
    ScanBreadth, "breadth of a scan" {
        NotKnown = "breadth not known",
        UpTo6 = "up to 6 modules",
        UpTo12 = "7 to 12 modules",
        UpTo18 = "13 to 18 modules",
        Over18 = "over 18 modules",
    }
}

word_list! {
    /// What usual counts of codes are worked out for.
    BaselineLevel, "level of a baseline" {
        ModelAndBreadth = "model and breadth",
        Breadth = "breadth",
    }
}

word_list! {
    /// How codes were cleared.
    ClearKind, "kind of clear" {
        Plain = "plain",
        Protected = "protected",
    }
}

word_list! {
    /// An order that is not named by one of the operations on it.
    OrderKind, "kind of order" {
        RoadsideHelp = "roadside help",
    }
}

word_list! {
    /// What comebacks are counted by.
    ComebackKind, "kind of comebacks' unit" {
        All = "all orders",
        Shop = "shop",
        Technician = "technician",
        Model = "model",
        Operation = "operation",
    }
}

word_list! {
    /// A kind of trouble with repairs that is held against the year before.
    ShopTrouble, "shop trouble" {
        CameBack = "came back",
        ModuleInFlood = "module in flood",
        HandedOverUnchecked = "handed over unchecked",
        BatteryAgain = "battery again",
    }
}

word_list! {
    /// In what an order and a later one are alike.
    Alike, "likeness of orders" {
        Complaint = "same complaint",
        Code = "same code",
        CodeGroup = "same code group",
    }
}

word_list! {
    /// What was replaced.
    ReplacedPart, "replaced part" {
        Module = "module",
        Battery = "battery",
    }
}

word_list! {
    /// Which battery of a vehicle, where a word is needed for it.
    Position, "position" {
        Main = "main",
    }
}

word_list! {
    /// What replacing a battery now is worth, beside the actions.
    Offer, "offer" {
        /// It has failed.
        Must = "must",
    }
}

word_list! {
    /// How a battery's place in the plan differs from the last report's.
    PlanChange, "change of the plan" {
        Ignored = "ignored",
        New = "new",
        Moved = "moved",
        Done = "done",
    }
}

word_list! {
    /// What a scan shows of a clear.
    ScanFinding, "finding of a scan" {
        ClearedShortlyBefore = "cleared shortly before",
    }
}

word_list! {
    /// What in a lake does not fit together.
    LakeFinding, "finding in a lake" {
        SameFactTwice = "the same fact twice",
        UnknownVehicle = "a vehicle the register does not know",
        CodeWithoutScan = "a code without its scan",
        TwoRegisterRows = "two register rows of one day",
        TwoTestsAtOnce = "two tests of one battery at one instant",
        OdometerBackwards = "the odometer runs backwards",
        ClosedBeforeOpened = "an order closed before it was opened",
        DepotWithoutWeather = "a depot without weather",
        LeftWithoutAWord = "a vehicle that left without a word",
        StrayOrder = "an order years before all others of its depot",
        BeforeTheRoad = "from before the day the vehicle was first on the road",
        OneChangeTwice = "one battery change on two orders",
        OneOrderTwice = "one order under two numbers",
        AboveItsRating = "more than 1.4 times its rated cranking ability",
        CellLeftOut = "left out of its row",
    }
}

word_list! {
    /// What a battery's size, rating or chemistry is known by.
    LabelSource, "source of a label" {
        Test = "test",
        Register = "register",
        Model = "model",
    }
}

word_list! {
    /// What it is known by that a vehicle has a battery in a place.
    PlaceSource, "source of a place" {
        Named = "named",
        Model = "taken from its model",
    }
}

word_list! {
    /// What a vehicle's next service is expected by.
    ServiceBasis, "basis of a next service" {
        OwnVisits = "its own visits",
        DepotVisits = "visits at its depot",
    }
}

word_list! {
    /// What to do about a battery under warranty.
    WarrantyStep, "step of a warranty" {
        Failed = "claim: failed",
        TestedFailed = "claim: tested failed",
        TestedWorn = "claim: tested worn",
        TestBeforeItEnds = "test before it ends",
    }
}

word_list! {
    /// Why a battery that was replaced, or called for, counts as failed or does not.
    EndEvidence, "evidence of an end" {
        CalledReplaced = "called for, then replaced",
        CalledOpen = "called for, not replaced yet",
        ComplaintFoundBad = "complaint, found worn or failed",
        ComplaintDischarged = "complaint, found discharged",
        ComplaintUntested = "complaint, not tested",
        Planned = "planned",
        FoundFit = "found fit",
        ChargingTrouble = "charging trouble",
        NoComplaint = "no complaint of the supply",
    }
}

word_list! {
    /// What was done since a call that neither a new battery nor a fit test has answered.
    SinceCall, "work since a call" {
        FoundBad = "found worn or failed",
        Charged = "charged",
        NotLookedAt = "not looked at",
    }
}

word_list! {
    /// How sure it is that a battery that counts as failed has failed.
    Certainty, "certainty" {
        Certain = "certain",
        Likely = "likely",
        Doubtful = "doubtful",
    }
}
