"""The bibliography: what stands behind a rule, a factor or a formula. Findings and docstrings cite the short name."""

from __future__ import annotations

__all__ = ["COMMON_PRACTICE", "EVIDENCE", "SOURCES", "is_cited"]

COMMON_PRACTICE = "common practice"
"""What a rule of thumb cites that nobody has written down with authority."""

SOURCES: dict[str, str] = {
    "33 CFR 183.425": ("33 CFR 183.425, Conductors: General (boats), United States Code of Federal Regulations"),
    "46 CFR 183.380": "46 CFR 183.380, Overcurrent protection, United States Code of Federal Regulations",
    "Allen & Berkley 1979": (
        "J. B. Allen, D. A. Berkley, Image method for efficiently simulating small-room acoustics, J. Acoust. Soc."
        " Am. 65(4), 943–950, 1979"
    ),
    "ASTM B258": (
        "ASTM B258, Standard Specification for Standard Nominal Diameters and Cross-Sectional Areas of AWG Sizes of "
        "Solid Round Wires Used as Electrical Conductors"
    ),
    "Audio EQ Cookbook": (
        "R. Bristow-Johnson, Cookbook formulae for audio equalizer biquad filter coefficients; W3C Group Note "
        "Audio EQ Cookbook, 2021"
    ),
    "Baarda 1968": (
        "W. Baarda, A testing procedure for use in geodetic networks, Netherlands Geodetic Commission, "
        "Publications on Geodesy, New Series 2(5), Delft, 1968"
    ),
    "Bartlett 1946": (
        "M. S. Bartlett, On the theoretical specification and sampling properties of autocorrelated time-series, Suppl. J. "
        "Roy. Statist. Soc. 8(1), 27–41, 1946"
    ),
    "BCI": "Battery Council International, Battery Service Manual: open-circuit voltage and state of charge",
    "Bendat & Piersol 2010": (
        "J. S. Bendat, A. G. Piersol, Random Data: Analysis and Measurement Procedures, 4th edition, John Wiley & Sons, 2010"
    ),
    "Beranek & Mellow 2012": (
        "L. L. Beranek, T. J. Mellow, Acoustics: Sound Fields and Transducers, Academic Press, 2012"
    ),
    "Blauert 1997": "J. Blauert, Spatial Hearing, revised edition, MIT Press, 1997",
    "Borish 1984": (
        "J. Borish, Extension of the image model to arbitrary polyhedra, J. Acoust. Soc. Am. 75(6), 1827–1836, 1984"
    ),
    "Chua, Desoer & Kuh 1987": (
        "L. O. Chua, C. A. Desoer and E. S. Kuh, Linear and Nonlinear Circuits, McGraw-Hill, 1987"
    ),
    "Churchill & Chu 1975": (
        "S. W. Churchill and H. H. S. Chu, Correlating equations for laminar and turbulent free convection from a "
        "horizontal cylinder, Int. J. Heat Mass Transfer 18(9), 1049–1053, 1975"
    ),
    "CIE 015:2018": "CIE 015:2018, Colorimetry, 4th edition, International Commission on Illumination",
    "Cramer 1993": (
        "O. Cramer, The variation of the specific heat ratio and the speed of sound in air with temperature, "
        "pressure, humidity, and CO2 concentration, J. Acoust. Soc. Am. 93(5), 2510–2516, 1993"
    ),
    "EN 1993-1-8": "EN 1993-1-8:2005, Eurocode 3: Design of steel structures – Part 1-8: Design of joints",
    "Farina 2000": (
        "A. Farina, Simultaneous measurement of impulse response and distortion with a swept-sine technique, 108th"
        " Convention of the Audio Engineering Society, preprint 5093, 2000"
    ),
    "Farina 2007": (
        "A. Farina, Advancements in impulse response measurements by sine sweeps, 122nd Convention of the Audio "
        "Engineering Society, paper 7121, 2007"
    ),
    "Geyer 1992": "C. J. Geyer, Practical Markov chain Monte Carlo, Statistical Science 7(4), 473–483, 1992",
    "Ghilani 2017": (
        "C. D. Ghilani, Adjustment Computations: Spatial Data Analysis, 6th edition, John Wiley & Sons, 2017"
    ),
    "Grover 1946": ("F. W. Grover, Inductance Calculations: Working Formulas and Tables, Van Nostrand, New York, 1946"),
    "Haas 1951": (
        "H. Haas, Über den Einfluss eines Einfachechos auf die Hörsamkeit von Sprache, Acustica 1, 49–58, 1951"
    ),
    "IEC 60028": "IEC 60028:1925, International standard of resistance for copper",
    "IEC 60228": "IEC 60228:2004, Conductors of insulated cables",
    "IEC 60364-4-43": (
        "IEC 60364-4-43:2008, Low-voltage electrical installations – Part 4-43: Protection against overcurrent"
    ),
    "IEC 61260-1": "IEC 61260-1:2014, Electroacoustics – Octave-band and fractional-octave-band filters – Part 1",
    "IEC 61672-1": "IEC 61672-1:2013, Electroacoustics – Sound level meters – Part 1: Specifications",
    "IEEE 1789": (
        "IEEE Std 1789-2015, Recommended Practices for Modulating Current in High-Brightness LEDs for Mitigating "
        "Health Risks to Viewers"
    ),
    "Ingard 1953": (
        "U. Ingard, On the theory and design of acoustic resonators, J. Acoust. Soc. Am. 25(6), 1037–1061, 1953"
    ),
    "ISO 11228-1": "ISO 11228-1:2021, Ergonomics – Manual handling – Part 1: Lifting, lowering and carrying",
    "ISO 13854": "ISO 13854:2017, Safety of machinery – Minimum gaps to avoid crushing of parts of the human body",
    "ISO 18233": "ISO 18233:2006, Acoustics – Application of new measurement methods in building and room acoustics",
    "ISO 4130": "ISO 4130:1978, Road vehicles – Three-dimensional reference system and fiducial marks – Definitions",
    "ISO 8820-3": "ISO 8820-3:2015, Road vehicles – Fuse-links – Part 3: Fuse-links with tabs (blade type)",
    "ISO 9613-1": "ISO 9613-1:1993, Acoustics – Attenuation of sound during propagation outdoors – Part 1",
    "ITU-R BS.1770": ("ITU-R BS.1770-5:2023, Algorithms to measure audio programme loudness and true-peak audio level"),
    "Jylänki 2010": (
        "J. Jylänki, A thousand ways to pack the bin: a practical approach to two-dimensional rectangle bin p"
        "acking, 2010"
    ),
    "Knapp & Carter 1976": (
        "C. H. Knapp, G. C. Carter, The generalized correlation method for estimation of time delay, IEEE Trans. Acoust. "
        "Speech Signal Process. 24(4), 320–327, 1976"
    ),
    "Kurze & Anderson 1971": (
        "U. J. Kurze, G. S. Anderson, Sound attenuation by barriers, Applied Acoustics 4(1), 35–53, 1971"
    ),
    "Leissa 1969": "A. W. Leissa, Vibration of plates, NASA SP-160, Washington 1969",
    "Levenberg 1944": (
        "K. Levenberg, A method for the solution of certain non-linear problems in least squares, Quart. Appl. "
        "Math. 2, 164–168, 1944"
    ),
    "Levine & Schwinger 1948": (
        "H. Levine, J. Schwinger, On the radiation of sound from an unflanged circular pipe, Phys. Rev. 73(4), 383–406, "
        "1948"
    ),
    "Linkwitz 1976": (
        "S. H. Linkwitz, Active crossover networks for noncoincident drivers, J. Audio Eng. Soc. 24(1), 2–8, 1976"
    ),
    "Lozano-Pérez 1983": (
        "T. Lozano-Pérez, Spatial planning: a configuration space approach, IEEE Trans. Computers C-32(2), 108–120, 1983"
    ),
    "Lundeby 1995": (
        "A. Lundeby, T. E. Vigran, H. Bietz and M. Vorländer, Uncertainties of measurements in room acoustics, "
        "Acustica 81, 344–355, 1995"
    ),
    "Maa 1998": "D.-Y. Maa, Potential of microperforated panel absorber, J. Acoust. Soc. Am. 104(5), 2861–2866, 1998",
    "Maekawa 1968": "Z. Maekawa, Noise reduction by screens, Applied Acoustics 1(3), 157–173, 1968",
    "Marquardt 1963": (
        "D. W. Marquardt, An algorithm for least-squares estimation of nonlinear parameters, SIAM J. Appl. Math. "
        "11(2), 431–441, 1963"
    ),
    "Melling 1973": (
        "T. H. Melling, The acoustic impedance of perforates at medium and high sound pressure levels, J. Sou"
        "nd Vib. 29(1), 1–65, 1973"
    ),
    "Neely & Allen 1979": (
        "S. T. Neely and J. B. Allen, Invertibility of a room impulse response, J. Acoust. Soc. Am. 66(1), "
        "165–169, 1979"
    ),
    "Nielsen 1999": (
        "H. B. Nielsen, Damping parameter in Marquardt's method, IMM-REP-1999-05, Technical University of Denmark, 1999"
    ),
    "NIST SP 811": (
        "A. Thompson and B. N. Taylor, Guide for the Use of the International System of Units (SI), NIST Special "
        "Publication 811, 2008 edition"
    ),
    "Ott 2009": "H. W. Ott, Electromagnetic Compatibility Engineering, John Wiley & Sons, 2009",
    "Paul 2008": "C. R. Paul, Analysis of Multiconductor Transmission Lines, 2nd edition, John Wiley & Sons, 2008",
    "Self 2013": "D. Self, Audio Power Amplifier Design, 6th edition, Focal Press, 2013",
    "Sharma, Wu & Dalal 2005": (
        "G. Sharma, W. Wu, E. N. Dalal, The CIEDE2000 color-difference formula, Color Research & Application "
        "30(1), 21–30, 2005"
    ),
    "Small 1972": (
        "R. H. Small, Direct-radiator loudspeaker system analysis, J. Audio Eng. Soc. 20(5), 383–395; Closed-box "
        "loudspeaker systems, 20(10), 798–808, and 21(1), 11–18, 1972 and 1973"
    ),
    "Small 1973": ("R. H. Small, Vented-box loudspeaker systems I–IV, J. Audio Eng. Soc. 21(5) to 21(8), 1973"),
    "Small 1974": (
        "R. H. Small, Passive-radiator loudspeaker systems I and II, J. Audio Eng. Soc. 22(8), 592–601, and 22(9), "
        "683–689, 1974"
    ),
    "Strang 1982": "G. Strang, The width of a chair, American Mathematical Monthly 89(8), 529–534, 1982",
    "Thiele 1971": (
        "A. N. Thiele, Loudspeakers in vented boxes I and II, J. Audio Eng. Soc. 19(5), 382–392, and 19(6), 471–483, 1971"
    ),
    "Timoshenko & Woinowsky-Krieger 1959": (
        "S. Timoshenko, S. Woinowsky-Krieger, Theory of Plates and Shells, 2nd edition, McGraw-Hill, 1959"
    ),
    "TOML 1.0": "TOML, Tom's Obvious Minimal Language, version 1.0.0, 2021, https://toml.io/en/v1.0.0",
    "Tukey 1977": "J. W. Tukey, Exploratory Data Analysis, Addison-Wesley, 1977 (median polish)",
    "UN Regulation No. 110": (
        "UN Regulation No. 110, Uniform provisions concerning the approval of specific components of motor vehicles using "
        "compressed or liquefied natural gas, United Nations Economic Commission for Europe"
    ),
    "UN Regulation No. 125": (
        "UN Regulation No. 125, Uniform provisions concerning the approval of motor vehicles with regard to the "
        "forward field of vision of the motor vehicle driver, United Nations Economic Commission for Europe"
    ),
    "Vicanek 2016": "M. Vicanek, Matched second order digital filters, 2016",
    "Vorländer 2008": "M. Vorländer, Auralization, Springer, 2008, appendix: tables of absorption coefficients",
    "Welch 1967": (
        "P. D. Welch, The use of fast Fourier transform for the estimation of power spectra, IEEE Trans. Audio "
        "Electroacoust. 15(2), 70–73, 1967"
    ),
}
"""Short name -> full reference, in alphabetical order."""


EVIDENCE = ("recording", "the build", "the processor", "the maker")
"""What a remark may rest on besides literature: what was measured, what the build says, what a maker states."""


def is_cited(text: str) -> bool:
    """Whether ``text`` names a source of the bibliography or evidence at hand, or owns to being common practice."""
    return text.startswith(COMMON_PRACTICE) or any(word in text for word in (*SOURCES, *EVIDENCE))
