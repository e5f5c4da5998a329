using ProfileCompiler;

// Called by src/IrrigationFhir/Profiles/compile.sh, never by the service or its build.
switch (args)
{
    case ["core-package", var folder]:
        CorePackage.Write(folder);
        return 0;
    case ["profiles", var compiled, var profiles]:
        await CompiledProfiles.Write(compiled, profiles);
        return 0;
    default:
        Console.Error.WriteLine("usage: ProfileCompiler core-package <folder> | profiles <compiled folder> <profiles folder>");
        return 2;
}
